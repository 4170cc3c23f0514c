"""nightcure: a closed-loop cure oven controller for a Raspberry Pi."""

__version__ = "0.2.0"

#: Where an oven.toml is looked for, in this order, when none is named.
OVEN_FILES = ("oven.toml", "/etc/nightcure/oven.toml")
