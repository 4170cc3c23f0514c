"""What earlier nights have shown of resins, for the next one: read from the ledger."""

from __future__ import annotations

from typing import Any

from ..cure.factors import card_prior
from ..cure.learned import Seen, learned_prior, touch_seen
from ..cure.mould_law import MouldLaw
from ..cure.part import Part
from ..ledger.reader import LedgerReader
from ..ledger.rows import EvidenceRow

#: The notes of what a part felt like, of its Barcol number and of an acetone rub, by its place in
#: the profile.
TOUCH, BARCOL, ACETONE = "touch_{}", "barcol_{}", "acetone_{}"


def known_parts(
    parts: tuple[Part, ...], reader: LedgerReader, learned: bool = True
) -> tuple[Part, ...]:
    """The parts as a night begins with them: each with what is known of its resin.

    Args:
        learned: start from what earlier nights have shown; else from the cards alone.
    """
    found = learned_parts(parts, reader) if learned else parts
    return tuple(
        p if p.figures is None or p.prior is not None
        else p.model_copy(update={"prior": card_prior(p.figures)})
        for p in found
    )  # fmt: skip


def learned_parts(parts: tuple[Part, ...], reader: LedgerReader) -> tuple[Part, ...]:
    """The parts, those of whose resin something was seen with what it showed."""
    rows = reader.evidence()
    laws = {
        (row.found["part"], row.found["sensor"]): row.found for row in rows if row.kind == "mould"
    }
    return tuple(_with_law(_learned(p, rows, reader), laws) for p in parts)


def _with_law(part: Part, laws: dict[tuple[str, str], dict[str, Any]]) -> Part:
    """The part with what was found last of its mould, by the part's name and thermometer."""
    found = laws.get((part.name, part.sensor or ""))
    if found is None or part.law is not None:
        return part
    return part.model_copy(update={"law": MouldLaw.model_validate(found)})


def _learned(part: Part, rows: list[EvidenceRow], reader: LedgerReader) -> Part:
    if part.figures is None or part.prior is not None:
        return part
    gel, cure = _seen(part, rows, reader)
    if not gel and not cure:
        return part
    prior = learned_prior(part.figures, part.batch_name, gel, cure)
    return part.model_copy(update={"prior": prior})


def _seen(
    part: Part, rows: list[EvidenceRow], reader: LedgerReader
) -> tuple[list[Seen], list[Seen]]:
    """What was seen of its resin's gel and cure, oldest first.

    What was seen of a batch before somebody said that it is a new one is another batch's.
    """
    gel: list[Seen] = []
    cure: list[Seen] = []
    for row in rows:
        if row.kind == "new":
            before = f"{row.batch}, before"
            gel = [s._replace(batch=before) if s.batch == row.batch else s for s in gel]
            cure = [s._replace(batch=before) if s.batch == row.batch else s for s in cure]
        if row.found.get("card") != part.card:
            continue
        if "gel" in row.found:
            gel.append(Seen(row.batch, *row.found["gel"]))
        if "cure" in row.found:
            cure.append(Seen(row.batch, *row.found["cure"]))
        if row.kind == "end" and (touched := _touched(part, row, reader)) is not None:
            cure.append(touched)
    return gel, cure


def _touched(part: Part, row: EvidenceRow, reader: LedgerReader) -> Seen | None:
    """What somebody felt of a part in the morning after that night."""
    assert part.figures is not None
    if row.night_id is None:
        return None
    notes, number = reader.noted(row.night_id), int(row.found["number"])
    felt, barcol = notes.get(TOUCH.format(number), ""), notes.get(BARCOL.format(number), "")
    acetone = notes.get(ACETONE.format(number), "")
    if not felt and not barcol and not acetone:
        return None
    hardness = float(barcol.replace(",", ".")) if barcol else None
    prior, face = card_prior(part.figures), part.figures.face
    return touch_seen(row.batch, prior, row.found, felt, hardness, acetone, face)
