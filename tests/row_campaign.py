"""The command line of a campaign that leaves rows: run and told, or told of what was kept."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterable, Iterator
from typing import Any

Row = dict[str, Any]


def run(
    rows_of: Callable[..., Iterable[Row]],
    tell: Callable[[list[Row]], Iterator[str]],
    *usual: int,
) -> int:
    """`... told` tells of rows on standard input; else numbers (`usual` where none is given) go to
    `rows_of`, and with `--json` each row is printed as it is made, what is told on standard error.
    """
    if "told" in sys.argv:
        for line in tell([json.loads(line) for line in sys.stdin]):
            print(line)
        return 0
    numbers = [int(a) for a in sys.argv[1:] if a.isdecimal()]
    rows = []
    for row in rows_of(*(*numbers, *usual[len(numbers) :])[: len(usual)]):
        rows.append(row)
        if "--json" in sys.argv:
            print(json.dumps(row), flush=True)
    out = sys.stderr if "--json" in sys.argv else sys.stdout
    for line in tell(rows):
        print(line, file=out)
    return 0
