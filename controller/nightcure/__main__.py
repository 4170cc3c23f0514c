"""`python -m nightcure`."""

from .cli.entry import run

run()
