"""A sample of the campaign (python -m tests.campaign): random faults on random ovens of two kinds,
judged by what was true in the oven."""

from __future__ import annotations

import json
import signal
import subprocess
import sys

import pytest

from tests.campaign import plans
from tests.campaign.__main__ import one
from tests.campaign.judge import judged
from tests.campaign.night import moments
from tests.campaign.switches import tried
from tests.campaign.tables import STRONG_K

NIGHTS, TOGETHER = 200, 20
#: As a busy board ticks, half as often as the campaign's.
TICK_S = 4.0


@pytest.mark.timeout(900)
@pytest.mark.parametrize("first", range(0, NIGHTS, TOGETHER))
def test_a_sample_of_faulted_nights(first: int) -> None:
    """No heat after a trip or without a reason's leave, no trip forgotten or without its sentence;
    and of single faults where something can cut the power no more than one in twenty nights ends
    more than 15 K above where it began and above 65 °C."""
    nights = [one("faults", 0, first + i, TICK_S) for i in range(TOGETHER)]
    assert [w for j in nights for w in j.wrong] == []
    told = [j for j in nights if len(j.faults) == 1 and j.can_cut and j.kappa_k <= STRONG_K]
    assert sum(not j.safe for j in told) <= 1
    assert sum(j.outcome == "refused" for j in nights) <= 2


@pytest.mark.parametrize("first", range(0, 20, 5))
def test_a_sample_of_tests_of_the_switches(first: int) -> None:
    """Sound contacts pass, welded ones are told, and before that no more flows than one pulse."""
    found = [t for i in range(5) for t in tried(0, first + i)]
    assert [t for t in found if not t.right] == []
    assert sum(t.verdict == "not tested" for t in found) <= len(found) // 5
    for t in found:
        if t.contacts in ("sound", "no heat"):
            assert t.loose_j == 0.0


@pytest.mark.parametrize("index", [475, 800])
def test_a_soak_that_is_lowered_by_fourteen_kelvins_spoils_no_night(index: int) -> None:
    """Air that is let cool lies far below slow parts: it was doubted for 90 min, and the night
    ended by that (fails before this)."""
    night = one("clean", 131, index)
    assert (night.outcome, night.pauses_s, night.wrong) == ("done", 0.0, [])


def test_the_same_seed_and_number_is_the_same_night() -> None:
    assert one("faults", 3, 5).as_json() == one("faults", 3, 5).as_json()
    assert one("faults", 3, 5).as_json() != one("faults", 4, 5).as_json()


def _hears_interrupts() -> None:
    """As on a terminal; who runs the tests in the background has them ignored."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def test_a_run_that_is_broken_off_has_written_what_it_did() -> None:
    """Each night as it is done, in their order, so that --first takes the run up."""
    run = [sys.executable, "-m", "tests.campaign", "faults", "60", "--seed", "3", "--json"]
    with subprocess.Popen(
        run, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, preexec_fn=_hears_interrupts
    ) as process:
        assert process.stdout is not None
        first = process.stdout.readline()
        process.send_signal(signal.SIGINT)
        written = [first, *process.stdout]
    assert 0 < len(written) < 60
    assert [json.loads(line)["index"] for line in written] == list(range(len(written)))
    assert json.loads(written[-1]) == one("faults", 3, len(written) - 1).as_json()


def test_the_judge_finds_what_must_never_be() -> None:
    """A night whose decisions are tampered with: heat after a trip, and the trip forgotten."""
    plan, befell = plans.faulted(0, 0)
    number = 0
    while befell[0][0] != "ledger-full" or plan.asked or plan.cuts:
        number += 1
        plan, befell = plans.faulted(0, number)

    def tampered():  # type: ignore[no-untyped-def]
        last = None
        for m in moments(plan):
            d = m.decision
            if d is not None and d.trip is not None and last is None:
                last = m.t_s
            if d is not None and last is not None and m.t_s >= last + 10.0:
                m.decision = d._replace(heater_on=m.t_s < last + 12.0,
                                        trip=d.trip if m.t_s < last + 40.0 else None)  # fmt: skip
            yield m

    assert judged(plan, 0, befell, moments(plan)).wrong == []
    wrong = " ".join(judged(plan, 0, befell, tampered()).wrong)
    assert "heat commanded while tripped" in wrong
    assert "a trip was forgotten" in wrong
