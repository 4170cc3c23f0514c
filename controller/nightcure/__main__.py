"""`python -m nightcure`."""

from .cli.main import run

run()
