"""The loop: readings and commands in, one decision out. No I/O, no clock."""
