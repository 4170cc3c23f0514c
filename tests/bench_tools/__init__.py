"""What is used at the bench: setup, check, pulse and the virtual board."""
