"""Where `nightcure` begins: `off` goes ahead of everything that the other commands import."""

from __future__ import annotations

import sys


def run() -> None:
    """Entry point."""
    words = sys.argv[1:]
    if words[:1] == ["off"] and "--help" not in words:
        from ..board.off import main

        sys.exit(main(words[1:]))
    from .main import run as run_command

    run_command()
