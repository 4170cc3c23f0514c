"""The daemon: the shell round the loop, and the status it gives the page."""
