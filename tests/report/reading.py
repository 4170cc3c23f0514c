"""A record's facts and words, for the tests that read one."""

from __future__ import annotations

from pathlib import Path

from nightcure.ledger.reader import LedgerReader
from nightcure.report.document import Document, Form, Pairs, Table, Text
from nightcure.report.facts import Facts, gather


def facts_of(ledger: Path) -> Facts:
    return gather(LedgerReader(ledger), 1)


def words(document: Document) -> str:
    """All text of a record."""
    said = [document.title, document.verdict]
    for block in document.blocks:
        if isinstance(block, Text):
            said.append(block.text)
        elif isinstance(block, Pairs | Form):
            said += [f"{k}: {v}" for k, v in block.rows]
        elif isinstance(block, Table):
            said += [" | ".join(row) for row in block.rows]
    return "\n".join(said)
