"""The ledger: the one file that the controller writes and the page reads."""
