"""nightcure: a closed-loop cure oven controller for a Raspberry Pi."""

__version__ = "0.1.0"
