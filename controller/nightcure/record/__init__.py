"""What is kept of a night, as it is written, taken up again and read back."""
