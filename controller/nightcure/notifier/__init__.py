"""The notifier: a process of its own that reads the ledger and tells people and machines.

It owns no pin and posts no command.
"""
