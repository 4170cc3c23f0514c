"""The page puts a sentence's temperatures into °F number by number: each has its own unit.

Found where it was not: "The cut-out opens at 65 ± 5 °C" was shown as "65 ± 41 °F".
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[1]
#: Rooms that speak on a terminal only.
TERMINAL = {"cli", "setup"}
BARE = re.compile(
    r"(?:\{\}|\d) (?:±|to|and|or) (?:\{\}|\d+(?:\.\d+)?) (?:°C|K\b)|± ?(?:\{\}|\d+) °C"
)


def sentences(tree: ast.AST) -> Iterator[str]:
    """Every text of a module but docstrings, with {} for what is put in."""
    docstrings = {id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Expr)}
    inside = {id(v) for n in ast.walk(tree) if isinstance(n, ast.JoinedStr) for v in n.values}
    for n in ast.walk(tree):
        if isinstance(n, ast.JoinedStr):
            yield "".join(v.value if isinstance(v, ast.Constant) else "{}" for v in n.values)
        elif isinstance(n, ast.Constant) and id(n) not in docstrings | inside:
            yield n.value if isinstance(n.value, str) else ""


def test_the_pattern_finds_them() -> None:
    for said in ("at {} ± {} °C", "{} to {} °C", "25 to 270 K", "60 and 80 °C", "± 5 °C"):
        assert BARE.search(said)
    for said in ("{} °C to {} °C", "65 °C ± 5 K", "3 nights and 5 Kelvin"):
        assert not BARE.search(said)


def test_no_sentence_has_a_temperature_without_its_unit() -> None:
    found = [
        f"{path.relative_to(ROOT)}: {said}"
        for folder in ("controller/nightcure", "web/nightcure_web")
        for path in sorted((ROOT / folder).rglob("*.py"))
        if not TERMINAL & set(path.relative_to(ROOT).parts)
        for said in sentences(ast.parse(path.read_text(encoding="utf-8")))
        if BARE.search(said)
    ]
    assert found == []
