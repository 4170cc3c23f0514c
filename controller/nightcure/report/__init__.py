"""The morning record: what a night was, gathered from the ledger, on one sheet."""
