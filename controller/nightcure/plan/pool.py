"""Nights in pieces of a fixed size, by whatever executor there is.

The pieces do not depend on the number of workers, so neither does the answer, to the bit.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, fields
from threading import Lock
from typing import Any

import numpy as np

from ..errors import BadInput
from ..oven.arrays import Array
from ..profile import Profile
from .night_results import Nights, Series
from .nights import horizon_s, run_nights
from .sampling import SampledParameters
from .tonight import Tonight

#: Nights to a piece.
PIECE = 250
#: Nights times profiles to a piece, where there are many profiles.
PIECE_CELLS = 2400

#: A cluster's scheduler answers within this, s.
CONNECT_S = 10

Progress = Callable[[int, int], None]
"""Told how many pieces are done, and how many there are so far."""


@dataclass(frozen=True)
class Job:
    """Nights to run through profiles."""

    tonight: Tonight
    sampled: SampledParameters
    profiles: tuple[Profile, ...]
    horizon: float | None = None
    keep: bool = False


class WorkerPool:
    """Runs jobs on an executor and counts the pieces."""

    def __init__(self, executor: Executor | None, on_progress: Progress | None = None) -> None:
        """`executor`: any of concurrent.futures; None: everything here, one after the other."""
        self.executor, self._tell = executor, on_progress
        self._done = self._all = 0
        self._lock = Lock()

    def run(self, jobs: Sequence[Job]) -> list[Nights]:
        """The jobs' nights, in the jobs' order."""
        split = [_pieces(job) for job in jobs]
        self._all += sum(len(pieces) for pieces, _ in split)
        if self.executor is None:
            return [_joined([self._here(p) for p in pieces], axis) for pieces, axis in split]
        futures = [([self._submit(p) for p in pieces], axis) for pieces, axis in split]
        if self._tell is not None:
            self._tell(self._done, self._all)
        try:
            return [_joined([f.result() for f in of], axis) for of, axis in futures]
        except BaseException:
            for of, _ in futures:
                for f in of:
                    f.cancel()
            raise

    def _here(self, piece: Job) -> Nights:
        found = _run(piece)
        self._count()
        return found

    def _submit(self, piece: Job) -> Future[Nights]:
        assert self.executor is not None
        future = self.executor.submit(_run, piece)
        future.add_done_callback(lambda _: self._count())
        return future

    def _count(self) -> None:
        with self._lock:
            self._done += 1
            if self._tell is not None:
                self._tell(self._done, self._all)


@contextmanager
def worker_pool(
    executor: Executor | None, on_progress: Progress | None = None
) -> Iterator[WorkerPool]:
    """A pool on `executor`, else on a process for each core as long as the context lasts."""
    if executor is not None:
        yield WorkerPool(executor, on_progress)
        return
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    if (cores or 1) < 2:
        yield WorkerPool(None, on_progress)
        return
    with ProcessPoolExecutor(max_workers=cores) as pool:
        yield WorkerPool(pool, on_progress)


@contextmanager
def on_cluster(address: str | None) -> Iterator[Executor | None]:
    """The workers of a Dask cluster, by its scheduler's address, each with nightcure installed;
    None (a process for each core of this machine) without an address.

    Raises:
        BadInput: nobody answers there, or nobody works.
    """
    if address is None:
        yield None
        return
    from distributed import Client

    try:
        client: Any = Client(address, timeout=CONNECT_S)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TypeError) as error:
        raise BadInput(
            f"--executor is {address} and no Dask scheduler answers there "
            f"({type(error).__name__}); it should be as tcp://host:8786."
        ) from None
    with client:
        if not client.scheduler_info()["workers"]:
            raise BadInput(f"The Dask scheduler at {address} has no workers; start some.")
        yield client.get_executor()


def _run(job: Job) -> Nights:
    return run_nights(job.tonight, job.sampled, job.profiles, job.horizon, job.keep)


def _pieces(job: Job) -> tuple[list[Job], int]:
    """The job in pieces, and the axis they lie along: nights (0), or profiles (1) where many."""
    horizon = horizon_s(job.tonight, job.profiles) if job.horizon is None else job.horizon
    nights = job.sampled.nights
    if len(job.profiles) > 1:
        count = max(PIECE_CELLS // nights, 1)
        some = [job.profiles[i : i + count] for i in range(0, len(job.profiles), count)]
        return [Job(job.tonight, job.sampled, p, horizon) for p in some], 1
    rows = [slice(i, i + PIECE) for i in range(0, nights, PIECE)]
    return [Job(job.tonight, job.sampled[r], job.profiles, horizon, job.keep) for r in rows], 0


def _joined(pieces: list[Nights], axis: int) -> Nights:
    """One job's nights from its pieces."""
    if len(pieces) == 1:
        return pieces[0]
    values: dict[str, Any] = {}
    for f in fields(Nights):
        if f.name == "reached_s":
            values[f.name] = {
                key: np.concatenate([p.reached_s[key] for p in pieces], axis=axis)
                for key in pieces[0].reached_s
            }
        elif f.name == "hottest_c":
            parts = zip(*(p.hottest_c for p in pieces), strict=True)
            values[f.name] = tuple(np.concatenate(part, axis=axis) for part in parts)
        elif f.name == "series":
            values[f.name] = _series([p.series for p in pieces if p.series is not None])
        else:
            values[f.name] = np.concatenate([getattr(p, f.name) for p in pieces], axis=axis)
    return Nights(**values)


def _series(pieces: list[Series]) -> Series | None:
    """Series of one profile, nights side by side."""
    if not pieces:
        return None
    parts = range(len(pieces[0].parts_c))

    def join(pick: Callable[[Series], Array]) -> Array:
        return np.concatenate([pick(p) for p in pieces], axis=1)

    return Series(
        pieces[0].time_s,
        join(lambda p: p.air_c),
        tuple(np.concatenate([p.parts_c[i] for p in pieces], axis=1) for i in parts),
        tuple(np.concatenate([p.progress[i] for p in pieces], axis=1) for i in parts),
        join(lambda p: p.ambient_c),
    )
