"""What nights teach of the oven: against a joint normal law by numpy, on boxes that change, and
through the ledger into the next night."""

from __future__ import annotations

import math
from pathlib import Path

import grimp
import numpy as np
import pytest

from nightcure.cure.factors import card_prior
from nightcure.ledger.notes import NotesWriter
from nightcure.ledger.reader import LedgerReader
from nightcure.ledger.rows import EvidenceRow
from nightcure.loop.loop import Loop
from nightcure.plan.from_nights import as_started, from_nights
from nightcure.plan.sampling import JOINT, Spreads
from nightcure.plan.tonight import facts_of, tonight
from nightcure.record.known_oven import known_night, known_oven, oven_by_nights
from nightcure.record.score import score
from nightcure.replay.verify import verify
from nightcure.settings import Model
from nightcure.settings.oven_evidence import (
    AGEING_SD,
    LEAST,
    MOST,
    NIGHT_SD,
    OFF_SD,
    Learned,
    OvenEvidence,
    learned,
)
from nightcure.simulate.scenario import BOX
from nightcure.tick import Phase
from tests.loop.demould_night import edited
from tests.loop.test_no_clock import SOAK, TONIGHT_S, Board
from tests.nights import COARSE, SETTINGS, SHORT, changed, start, still, word
from tests.recording import RecordedOven

MODEL = SETTINGS.model
DAY_S = 86400.0


def night_of(mean: np.ndarray, cov: np.ndarray, model: Model = MODEL) -> OvenEvidence:
    """A night's evidence with these likely shares and their covariance, its prior in it."""
    vague = np.diag(np.array(OFF_SD) ** -2.0)
    after = np.linalg.inv(np.linalg.inv(cov) + vague)
    at = after @ (np.linalg.inv(cov) @ mean + vague @ np.ones(3))
    found = OvenEvidence.of(at.tolist(), after.tolist(), model)
    assert found is not None
    return found


def test_nights_add_up_as_one_normal_law() -> None:
    """Three nights, the oven walking by `AGEING_SD` between them, each with its own spread."""
    rng = np.random.default_rng(4)
    covs = [np.diag([0.004, 0.02, 0.03]) + 0.002 for _ in range(3)]
    means = [1.0 + 0.1 * rng.normal(size=3) for _ in range(3)]
    found = learned(MODEL, [(0.0, night_of(m, c)) for m, c in zip(means, covs, strict=True)])
    start_, walk, own = (np.diag(np.array(sd) ** 2) for sd in (OFF_SD, AGEING_SD, NIGHT_SD))
    # The oven of the three nights, stacked; the first is as the model has it (its walk is capped).
    joint = np.block([[start_ + min(i, k) * walk for k in range(3)] for i in range(3)])
    seen = np.zeros((9, 9))
    for i, c in enumerate(covs):
        seen[3 * i : 3 * i + 3, 3 * i : 3 * i + 3] = c + own
    gain = joint[6:] @ np.linalg.inv(joint + seen)
    assert found.mean == pytest.approx(1.0 + gain @ (np.concatenate(means) - 1.0), abs=2e-4)
    assert np.array(found.cov) == pytest.approx(joint[6:, 6:] - gain @ joint[:, 6:], abs=2e-5)
    assert found.nights == 3


def test_a_model_that_a_person_writes_anew_counts_nothing_twice() -> None:
    """The same night, reckoned from a model of half the loss, says the same watts per kelvin."""
    mean, cov = np.array([1.2, 0.9, 1.1]), np.diag([0.003, 0.02, 0.02])
    half = MODEL.model_copy(update={"loss_w_per_k": 0.5 * MODEL.loss_w_per_k})
    scale = np.diag([2.0, 1.0, 1.0])
    other = night_of(scale @ mean, scale @ cov @ scale, half)
    for found in (night_of(mean, cov), other):
        oven = learned(MODEL, [(0.0, found)]).oven()
        assert oven.loss_w_per_k == pytest.approx(
            learned(MODEL, [(0.0, night_of(mean, cov))]).oven().loss_w_per_k, rel=1e-5
        )


def test_nothing_seen_is_the_model_and_a_night_that_tells_nothing_is_none() -> None:
    oven = Learned(MODEL).oven()
    assert (oven.loss_w_per_k, oven.nights) == (MODEL.loss_w_per_k, 0)
    vague = np.diag(np.array(OFF_SD) ** 2).tolist()
    assert OvenEvidence.of([1.0, 1.0, 1.0], vague, MODEL) is None


def losses(shares: list[float], days: float = 1.0) -> tuple[Learned, list[float | None]]:
    """Nights with these losses, as shares of the model's; and what jump each was said to be."""
    oven, jumps = Learned(MODEL), []
    for i, share in enumerate(shares):
        oven.passes(i * days * DAY_S)
        oven.see(night_of(np.array([share, 1.0, 1.0]), np.diag([0.002, 0.02, 0.03])))
        jumps.append(oven.jump)
    return oven, jumps


def test_a_box_that_ages_is_followed_and_one_that_is_torn_is_said_and_taken_in_at_once() -> None:
    ages, none = losses([1.03 ** (i / 7.0) for i in range(40)])
    assert ages.mean[0] == pytest.approx(1.03 ** (39 / 7.0), rel=0.06)
    assert none == [None] * 40
    torn, jumps = losses([1.0] * 6 + [1.5])
    assert jumps[:6] == [None] * 6
    assert jumps[6] == pytest.approx(1.5, abs=0.06)
    assert torn.mean[0] > 1.3
    assert losses([1.0] * 6 + [1.5, 1.5, 1.5])[0].mean[0] == pytest.approx(1.5, abs=0.08)


def test_what_was_learned_fades_while_nothing_is_seen_and_keeps_its_bounds() -> None:
    oven, _ = losses([1.1] * 5)
    fresh = oven.cov[0][0]
    oven.passes(100 * DAY_S)
    assert fresh < oven.cov[0][0] <= OFF_SD[0] ** 2
    for share, bound in ((4.0, MOST), (0.1, LEAST)):
        assert losses([share] * 8)[0].mean[0] == bound


def test_the_plan_draws_the_oven_as_it_was_learned() -> None:
    oven = losses([1.2] * 4)[0].oven()
    facts, spreads = from_nights(oven, facts_of(SETTINGS), Spreads())
    assert facts.loss_w_per_k == oven.loss_w_per_k > 1.1 * MODEL.loss_w_per_k
    assert spreads.oven_log_covariance is not None
    table = np.array(spreads.oven_log_covariance)
    assert table.shape == (len(JOINT), len(JOINT))
    assert np.linalg.eigvalsh(table)[0] > -1e-9
    assert math.sqrt(table[0, 0]) < OFF_SD[0]
    assert from_nights(Learned(MODEL).oven(), facts, Spreads()) == (facts, Spreads())
    night = tonight(SETTINGS, edited().parts, lambda _: 8.0, "demould", 12 * 3600.0)
    (said,) = as_started(night, oven).notes
    assert "as 4 earlier nights have shown it" in said
    assert as_started(night, None).notes == ()


@pytest.fixture(scope="module")
def two_nights(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A night with parts, then one that starts from it, in one ledger."""
    ledger = tmp_path_factory.mktemp("nights") / "two.ledger"
    night = edited()
    first = night.model_copy(
        update={
            "oven": Learned(MODEL).oven(),
            "segments": SHORT.segments,
            "parts": tuple(
                p.model_copy(update={"prior": card_prior(p.figures)})
                for p in night.parts if p.figures
            ),
        }
    )  # fmt: skip
    with RecordedOven(ledger, COARSE) as oven:
        oven.run(3 * 3600.0, profile=first)
        oven.recorder.wait_below(1, 30.0)
        second = known_night(night.model_copy(update={"segments": SHORT.segments}), SETTINGS,
                             LedgerReader(ledger))  # fmt: skip
        oven.tick(start(second, 2))
        while oven.loop.run is not None:
            oven.run(oven.t_s + 200.0)
    return ledger


def test_a_night_leaves_what_it_showed_of_oven_and_moulds_for_the_next(two_nights: Path) -> None:
    reader = LedgerReader(two_nights)
    rows = [r for r in reader.evidence() if not r.batch and r.night_id == 1]
    assert sorted(r.kind for r in rows) == ["mould", "mould", "oven"]
    oven = known_oven(SETTINGS, reader)
    assert oven.nights >= 1
    # The virtual oven of this scenario is what its model says, but for its nodes.
    assert oven.loss_w_per_k == pytest.approx(BOX.loss_w_per_k, rel=0.15)
    again = known_night(edited(), SETTINGS, reader)
    assert all(p.law is not None and p.law.sensor == p.sensor for p in again.parts)
    plain = known_night(edited(), SETTINGS, reader, learned=False)
    assert [p.law for p in plain.parts] == [None, None]
    assert plain.oven is not None
    assert plain.oven.nights == 0
    other = SETTINGS.model_copy(update={"name": "Another box"})
    assert oven_by_nights(other, reader).nights == 0


def test_the_next_night_starts_from_it_says_so_and_replays_to_the_bit(two_nights: Path) -> None:
    reader = LedgerReader(two_nights)
    said = [e["message"] for e in reader.events(2) if e["name"] == "oven-learned"]
    assert len(said) == 1
    assert "from what one earlier night has shown" in said[0]
    sights = [e["message"] for e in reader.events(2) if e["name"] == "own-heat"]
    assert any("known from an earlier night" in m for m in sights)
    for night_id in (1, 2):
        found = verify(reader, night_id)
        assert found.differences == []


def test_what_was_foretold_is_held_against_what_came(two_nights: Path) -> None:
    """The second night's loss against what the first had shown; and a gel cup of each kind."""
    rows = score(LedgerReader(two_nights))
    assert [(r.night_id, r.what, r.held) for r in rows] == [(2, "loss", True)]
    assert rows[0].low < BOX.loss_w_per_k < rows[0].high
    assert rows[0].came == pytest.approx(BOX.loss_w_per_k, rel=0.2)
    for factor, held in ((1.1, True), (2.6, False)):
        found = {"card": "x", "gelled": True, "gel": [math.log(factor), 0.12]}
        row = EvidenceRow("polyester-laminating", "cup", found, 1, 1.7e9 + factor)
        with NotesWriter(two_nights) as notes:
            notes.evidence(row)
        (gel,) = [r for r in score(LedgerReader(two_nights)) if r.came == factor]
        assert (gel.what, gel.name, gel.held) == ("gel", "polyester-laminating", held)


def test_a_night_of_an_earlier_version_leaves_nothing() -> None:
    loop = Loop(SETTINGS)
    loop.tick(still(0.0, start(SHORT)))
    loop.tick(still(2.0))
    found = loop.tick(still(4.0, start(SHORT, 3)))
    assert found.evidence == ()


def test_another_model_amid_a_night_is_no_jump_and_teaches_nothing_wrong() -> None:
    """Started from learned figures; its oven.toml has another loss after a restart amid it."""
    oven, _ = losses([1.0] * 4)
    board = Board(TONIGHT_S, known=True)
    board.run(3 * 3600.0, SOAK.model_copy(update={"oven": oven.oven()}))
    board.settings = changed(SETTINGS, model={"loss_w_per_k": 1.3 * MODEL.loss_w_per_k})
    board.stand_still(10.0)
    board.restart()
    assert board.run(3600.0).phase is Phase.SOAK
    d = board.tick([word("stop")])
    assert (d.phase, d.heater_on) == (Phase.IDLE, False)
    assert [e.name for e in d.events if e.kind in ("night", "note")] == ["stopped"]
    for found in d.evidence:
        loss_w_per_k, _ = OvenEvidence.from_json(found.found).loss_w_per_k
        assert loss_w_per_k == pytest.approx(BOX.loss_w_per_k, rel=0.2)


def test_what_a_night_starts_from_is_what_was_learned() -> None:
    oven, _ = losses([0.7, 0.75, 0.7])
    again = Learned.of(oven.oven(), MODEL)
    assert again.mean == pytest.approx(oven.mean, rel=1e-6)
    assert np.array(again.cov) == pytest.approx(np.array(oven.cov), rel=1e-4, abs=1e-7)
    assert np.linalg.eigvalsh(np.array(again.cov))[0] > 0.0


def test_a_stop_ends_the_night_whatever_can_be_learned_of_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Sums that do not come out end no controller, which would take the night up again."""

    def fails(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(Learned, "see", fails)
    board = Board(TONIGHT_S, known=True)
    board.run(3 * 3600.0, SOAK.model_copy(update={"oven": Learned(MODEL).oven()}))
    d = board.tick([word("stop")])
    assert (d.phase, d.heater_on, d.evidence) == (Phase.IDLE, False, ())
    assert [e.name for e in d.events if e.kind in ("night", "note")] == ["stopped", "not-learned"]
    assert board.tick().phase is Phase.IDLE


def test_no_guard_reads_what_was_learned() -> None:
    """Nor does `why_off`: only feed-forward and the plan start from it."""
    graph = grimp.build_graph("nightcure")
    for name in ("nightcure.settings.learned_oven", "nightcure.settings.oven_evidence",
                 "nightcure.cure.mould_law", "nightcure.heat.learned_need"):  # fmt: skip
        importers = graph.find_modules_that_directly_import(name)
        assert not any(m.startswith("nightcure.guard") for m in importers), name
        assert "nightcure.loop.why_off" not in importers
