"""The same answer whatever runs it."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from nightcure.errors import BadInput
from nightcure.plan import pool
from nightcure.plan.plan import plan_night
from nightcure.plan.pool import Job, WorkerPool
from nightcure.plan.sampling import Spreads, draw
from nightcure.plan.tonight import tonight
from nightcure.profile import Profile, load_profile, parse_profile
from nightcure.simulate.scenario import PARTS_FILE, ambient_c
from tests.nights import SETTINGS, SHORT

PARTS = load_profile(PARTS_FILE).parts
TONIGHT = tonight(SETTINGS, PARTS, ambient_c, "gelled", 2 * 3600.0)
PROFILE = parse_profile(
    {**SHORT.model_dump(mode="json"), "parts": [p.model_dump(mode="json") for p in PARTS]}
)
HORIZON_S = 2.0 * 3600.0


class Plain(Executor):
    """As little of an executor as there can be: does what it is given, there and then."""

    def __init__(self) -> None:
        self.asked = 0

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        self.asked += 1
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except BaseException as error:
            future.set_exception(error)
        return future


def answers(executor: Executor | None) -> list[np.ndarray[Any, Any]]:
    sampled = draw(TONIGHT, Spreads(), 2 * pool.PIECE + 10, 5)
    found = WorkerPool(executor).run([Job(TONIGHT, sampled, (PROFILE,), HORIZON_S, True)])[0]
    assert found.series is not None
    return [found.goal_s, found.energy_j, found.series.air_c, found.series.parts_c[1]]


def test_to_the_bit_whatever_the_executor() -> None:
    here = answers(None)
    assert here[0].shape == (2 * pool.PIECE + 10, 1)
    assert here[2].shape[1] == 2 * pool.PIECE + 10
    plain = Plain()
    with ProcessPoolExecutor(2) as processes, ThreadPoolExecutor(3) as threads:
        for executor in (processes, threads, plain):
            for ours, theirs in zip(here, answers(executor), strict=True):
                assert np.array_equal(ours, theirs, equal_nan=True)
    assert plain.asked == 3


def test_pieces_by_profiles_come_back_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    sampled = draw(TONIGHT, Spreads(), 8, 5)
    profiles: list[Profile] = [
        PROFILE.model_copy(update={"segments": (*PROFILE.segments[:1],
                           PROFILE.segments[1].model_copy(update={"at_c": at_c}))})
        for at_c in (25.0, 24.0, 23.0, 22.0, 21.0)
    ]  # fmt: skip
    job = Job(TONIGHT, sampled, tuple(profiles), 4 * 3600.0)
    whole = WorkerPool(None).run([job])[0]
    monkeypatch.setattr(pool, "PIECE_CELLS", 16)
    told: list[tuple[int, int]] = []
    parts = WorkerPool(None, lambda done, of: told.append((done, of))).run([job])[0]
    assert told == [(1, 3), (2, 3), (3, 3)]
    assert np.allclose(whole.energy_j, parts.energy_j, rtol=1e-9)
    assert np.all(np.diff(whole.energy_j.mean(axis=0)) < 0.0), "a colder soak takes less"


def test_a_plan_on_an_executor_of_ones_own() -> None:
    plain = Plain()
    plan = plan_night(TONIGHT, PROFILE, nights=40, improvements=False, executor=plain)
    assert plain.asked == 2, "the nights, and some of them with a slow maker's resin"
    with ThreadPoolExecutor(1) as threads:
        again = plan_night(TONIGHT, PROFILE, nights=40, improvements=False, executor=threads)
    assert plan.as_json() == again.as_json()


def test_what_fails_in_a_worker_is_not_lost() -> None:
    sampled = draw(TONIGHT, Spreads(), 3, 5)
    broken = Job(TONIGHT, sampled, (), HORIZON_S)
    with ThreadPoolExecutor(1) as threads, pytest.raises(ValueError, match="one regulator"):
        WorkerPool(threads).run([broken])


# ---- a cluster -----------------------------------------------------------------------------------


@pytest.mark.timeout(400)
def test_a_cluster_of_two_processes_gives_the_same_odds_to_the_digit(tmp_path: Path) -> None:
    """Scheduler and workers of a kept library (dask's distributed), as processes of their own."""
    from distributed import LocalCluster

    asked: dict[str, Any] = {"nights": 520, "seed": 7, "improvements": False}
    here = plan_night(TONIGHT, PROFILE, executor=Plain(), **asked)
    with (
        LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1",
            dashboard_address=None, local_directory=str(tmp_path),
        ) as cluster,
        pool.on_cluster(cluster.scheduler_address) as executor,
    ):  # fmt: skip
        there = plan_night(TONIGHT, PROFILE, executor=executor, **asked)
    assert there.as_json() == here.as_json()


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:9", "nonsense://x", "127.0.0.1:9"])
def test_a_cluster_that_is_not_there_gets_a_sentence(
    address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pool, "CONNECT_S", 1)
    with pytest.raises(BadInput, match="no Dask scheduler answers there"), pool.on_cluster(address):
        pass
