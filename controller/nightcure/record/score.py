"""How often what was foretold held what came: loss and gel, night by night.

Before each night a range is known of the oven's loss and of each batch's gel; what its heat and a
gel cup then showed is held against it, with the error of either.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from ..cure.part import Part
from ..ledger.reader import LedgerReader
from ..ledger.rows import EvidenceRow
from ..settings.learned_oven import LearnedOven
from ..settings.oven_evidence import OvenEvidence

#: Eight of ten.
Z80 = 1.2815515655446004


class Foretold(NamedTuple):
    """One range and what came.

    Attributes:
        what: `loss` (W/K), or `gel`: the factor on the card's gel time.
        name: of the batch; empty for the oven.
        low, high: eight of ten should lie between.
    """

    night_id: int
    what: str
    name: str
    low: float
    high: float
    came: float

    @property
    def held(self) -> bool:
        """Whether it lay in between."""
        return self.low <= self.came <= self.high


def score(reader: LedgerReader) -> list[Foretold]:
    """Of all nights that were started on what was known then, oldest first."""
    found: list[Foretold] = []
    profiles: dict[int, dict[str, object]] = {}
    for row in reader.evidence():
        if row.night_id is None or row.kind not in ("oven", "cup"):
            continue
        if row.night_id not in profiles:
            night = reader.night(row.night_id)
            profiles[row.night_id] = {} if night is None else reader.parsed(night.profile)
        told = profiles[row.night_id]
        found += _loss(row, told) if row.kind == "oven" else _gel(row, told)
    return found


def _loss(row: EvidenceRow, profile: dict[str, object]) -> Iterator[Foretold]:
    if not profile.get("oven"):
        return
    oven = LearnedOven.model_validate(profile["oven"])
    value, own_sd = OvenEvidence.from_json(row.found).loss_w_per_k
    if oven.nights and row.night_id is not None:
        sd = math.hypot(math.sqrt(oven.log_covariance[0][0]), own_sd)
        yield _foretold(row.night_id, "loss", "", oven.loss_w_per_k, sd, value)


def _gel(row: EvidenceRow, profile: dict[str, object]) -> Iterator[Foretold]:
    """A cup that gelled, against what was believed of its batch at the night's start."""
    parts = profile.get("parts")
    if not row.found.get("gelled") or "gel" not in row.found or row.night_id is None:
        return
    value, own_sd = row.found["gel"]
    for data in parts if isinstance(parts, list) else ():
        part = Part.model_validate(data)
        if part.batch_name == row.batch and part.prior is not None:
            sd = math.hypot(part.prior.gel_sd, own_sd)
            likely = math.exp(part.prior.gel_mean)
            yield _foretold(row.night_id, "gel", row.batch, likely, sd, math.exp(value))
            return


def _foretold(
    night_id: int, what: str, name: str, likely: float, sd: float, came: float
) -> Foretold:
    reach = math.exp(Z80 * sd)
    values = (round(v, 4) for v in (likely / reach, likely * reach, came))
    return Foretold(night_id, what, name, *values)
