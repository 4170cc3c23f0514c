"""The guided survey from the page: a heat-and-cool night, ended once the oven is known.

The numerics run as one of `jobs`. What is asked of the oven is a start and a stop: should this
server die, the test runs to its own end as any night does, every interlock active.
"""

from __future__ import annotations

import asyncio
import json
import logging
import os
import time
from pathlib import Path
from typing import Any

from nightcure import __version__
from nightcure.errors import NightcureError
from nightcure.oven.meaning import meaning
from nightcure.profile import parse_profile
from nightcure.settings import Model, Regulator
from nightcure.survey.heat_and_cool import KNOWN_WITHIN, NAME, enough, profile_for

from .jobs import Jobs
from .models.survey_models import Found, SurveyNow
from .problems import Problem
from .services import Services

log = logging.getLogger("nightcure.web")

#: A survey of a night takes seconds; a small board's, some tens.
LONGEST_LOOK_S = 120
#: Oven time between two looks, s, and how often its clock is looked at.
EVERY_S, LOOK_S = 300.0, 0.5
#: How long a night may take to appear in the ledger, s.
APPEARS_S = 10.0
#: The service that may write oven.toml answers within so long, s, or there is none.
WRITES_S = 20.0
#: What is asked of it, beside the ledger: the service looks for this name.
REQUEST = "survey-to-write.json"
#: Nights back in which the last test is looked for.
RECENT_NIGHTS = 100


NO_TEST = SurveyNow(running=False, sentence="No test has been run from this page.")


class SurveyJob:
    """One application's guided survey, and surveys of nights that are over."""

    def __init__(self, services: Services, jobs: Jobs) -> None:
        self._services = services
        self._jobs = jobs
        self._task: asyncio.Task[None] | None = None
        self._now: SurveyNow | None = None

    @property
    def now(self) -> SurveyNow:
        """The test under way, or the last one that the ledger has."""
        if self._now is None:
            if not self._services.settings.ledger.exists():
                return NO_TEST
            self._now = self._last()
        return self._now

    def _last(self) -> SurveyNow:
        """What an earlier page's server found, kept with its night."""
        reader = self._services.reader
        for row in reader.nights(RECENT_NIGHTS):
            kept = reader.refit(row["id"]) if row["profile_name"] == NAME else None
            if kept is not None:
                return SurveyNow(running=False, night_id=row["id"], **self._told(kept))
        return NO_TEST

    # ---- a night's record -----------------------------------------------------------------

    async def of_night(self, night_id: int) -> dict[str, Any]:
        """What `nightcure survey --json` says of a night; a Problem where it can say nothing."""
        command = ("nightcure", "survey", str(self._services.settings.ledger))
        night = ("--night", str(night_id), "--json")
        done = await self._jobs.run("The survey", LONGEST_LOOK_S, *command, *night)
        if done.status != 0:
            said = done.err.decode(errors="replace").strip().removeprefix("nightcure: ")
            raise Problem(409, said.splitlines()[-1] if said else "The survey failed.")
        found: dict[str, Any] = json.loads(done.out)
        return found

    # ---- the guided test ------------------------------------------------------------------

    @property
    def running(self) -> bool:
        """Whether a test is being followed."""
        return self._task is not None and not self._task.done()

    async def start(self, precision_pct: float, who: str, confirmed: dict[str, bool]) -> SurveyNow:
        """Start the test's night; raises a Problem where it is refused."""
        if self.running:
            raise Problem(409, "A test is under way; stop it first.")
        live = self._services.reader.live()
        if live is None:
            raise Problem(503, "The controller has not spoken yet; see whether it runs.")
        profile = parse_profile(profile_for(self._services.settings.limits, self._ambient_c(live)))
        newest = self._newest()
        args = {"profile": profile.model_dump(mode="json"), **confirmed}
        outcome, message = await self._services.command("start", args, who)
        if outcome != "done":
            raise Problem(409, message)
        night_id = await self._appears(newest)
        self._now = SurveyNow(
            running=True,
            night_id=night_id,
            precision_pct=precision_pct,
            noted_s=0.0,
            sentence="The test has begun; nothing is known yet.",
        )
        self._task = asyncio.create_task(self._follow(night_id, precision_pct))
        return self._now

    def _ambient_c(self, live: dict[str, Any]) -> float:
        shed = [t["value_c"] for t in live["thermometers"] if t["role"] == "ambient"]
        known = [c for c in shed if c is not None]
        return float(known[0]) if known else self._services.settings.model.assumed_ambient_c

    def _newest(self) -> int:
        nights = self._services.reader.nights(limit=1)
        return int(nights[0]["id"]) if nights else 0

    async def _appears(self, newest: int) -> int:
        for _ in range(int(APPEARS_S / 0.1)):
            found = await asyncio.to_thread(self._newest)
            if found > newest:
                return found
            await asyncio.sleep(0.1)
        raise Problem(503, "The test was started but is not in the ledger; see the controller.")

    async def _follow(self, night_id: int, precision_pct: float) -> None:
        """Look every few minutes of the oven's time; stop the night once enough is known."""
        try:
            began_s = looked_s = await asyncio.to_thread(self._wall_s)
            while not self._services.closing:
                over = await asyncio.to_thread(self._why_over, night_id)
                wall_s = await asyncio.to_thread(self._wall_s)
                if over is None and wall_s - looked_s < EVERY_S:
                    await asyncio.sleep(LOOK_S)
                    continue
                looked_s = wall_s
                known = await self._look(night_id, wall_s - began_s, precision_pct)
                if over is not None:
                    self._tell(running=False, sentence=f"{over} {self.now.sentence}")
                    return
                if known and await asyncio.to_thread(self._cools, night_id):
                    # Its last segment is left, so that the night is done: nobody has stopped it.
                    await self._services.command("skip", {}, "the survey")
                    self._tell(running=False, sentence=f"{self.now.sentence} The test is over.")
                    return
        except (NightcureError, Problem) as error:
            said = error.detail if isinstance(error, Problem) else str(error)
            self._tell(running=False, sentence=f"The test is no longer followed: {said}")
        except Exception:
            log.exception("a survey was lost sight of")
            self._tell(
                running=False,
                sentence="The test is no longer followed, by a mistake of this server's own; its "
                "log says more. The night goes on to its end, or stop it.",
            )

    async def _look(self, night_id: int, noted_s: float, precision_pct: float) -> bool:
        """Tell what is known now; whether it is enough."""
        try:
            found = await self.of_night(night_id)
        except Problem as error:
            self._tell(noted_s=noted_s, sentence=f"Not known yet: {error.detail}")
            return False
        told = self._told(found)
        if told["found"] is None:
            self._tell(noted_s=noted_s, **{**told, "sentence": "Not known yet; the test goes on."})
            return False
        self._tell(noted_s=noted_s, **told)
        with self._services.notes() as notes:
            notes.refit(self.now.night_id or 0, found, __version__, time.time())
        return enough(told["half_width_pct"], float(found["fallen_s"]), precision_pct)

    def _told(self, found: dict[str, Any]) -> dict[str, Any]:
        """A survey's findings as the page has them; a loss too wide to be of use is not known."""
        loss = found["loss_w_per_k"]
        half_pct: float = 100.0 * ((loss["high"] / loss["low"]) ** 0.5 - 1.0)
        if half_pct > 100.0 * KNOWN_WITHIN:
            wanted = next(iter(found["unknown"]), "It takes a heating and a cooling.")
            wanted = wanted.removeprefix("The loss is not known yet: ")
            return {
                "half_width_pct": None,
                "found": None,
                "meaning": [],
                "sentence": f"Not known yet. {wanted[0].upper()}{wanted[1:]}",
            }
        settings = self._services.settings
        model = settings.model.model_copy(update={**found["model"], "measured": True})
        return {
            "half_width_pct": round(half_pct, 1),
            "found": Found.model_validate(found),
            "meaning": meaning(settings.model_copy(update={"model": model})),
            "sentence": f"The loss is {loss['value']:.3g} W/K, known within ±{half_pct:.0f} %.",
            "written": _same(model, settings.model),
        }

    # ---- into oven.toml -------------------------------------------------------------------

    async def write(self, night_id: int) -> str:
        """Put what a night tells of the oven into oven.toml; the old file is kept.

        Where this server may not write it, the service that may is asked (`nightcure adopt`).

        Raises:
            Problem: nothing was written; the sentence says why and what to do.
        """
        oven = self._services.oven
        if oven is None:
            raise Problem(409, "This is a demo: it has no oven.toml to write into.")
        live = await asyncio.to_thread(self._services.reader.live)
        if live is not None and live["phase"] == "tripped":
            raise Problem(409, "The oven has tripped; write it after the reset.")
        if self.running or (live is not None and live["phase"] not in ("idle", "done")):
            raise Problem(409, "A night is running; write it once the oven rests.")
        found = await self.of_night(night_id)
        if self._told(found)["found"] is None:
            raise Problem(409, "The loss is not known yet, so there is nothing to write.")
        regulator = {k: v for k, v in found["regulator"].items() if k in Regulator.model_fields}
        model = {**found["model"], "measured": True}
        request = self._services.settings.ledger.with_name(REQUEST)
        asked = json.dumps({"night_id": night_id, "model": model, "regulator": regulator})
        before = await asyncio.to_thread(oven.read_bytes)
        try:
            await asyncio.to_thread(_put, request, asked)
            if os.access(oven, os.W_OK) and os.access(oven.parent, os.W_OK):
                sentence = await self._adopt(request, oven)
            else:
                sentence = await self._adopted_by_service(oven, before)
        finally:
            request.unlink(missing_ok=True)
        self._tell(written=True)
        return sentence

    async def _adopt(self, request: Path, oven: Path) -> str:
        done = await self._jobs.run(
            "Writing", LONGEST_LOOK_S, "nightcure", "adopt", str(request), "--oven", str(oven)
        )
        if done.status != 0:
            said = done.err.decode(errors="replace").strip().removeprefix("nightcure: ")
            raise Problem(409, f"{oven.name} is as it was. {said}")
        kept = json.loads(done.out)["kept"]
        return (
            f"{oven.name} has it; the old file is {kept}. It counts from the next start of "
            f"controller and page: begin them anew, or switch the board off and on."
        )

    async def _adopted_by_service(self, oven: Path, before: bytes) -> str:
        end_s = time.monotonic() + WRITES_S
        while time.monotonic() < end_s:
            if await asyncio.to_thread(oven.read_bytes) != before:
                return f"{oven.name} has it; the old file is kept beside it. Both start anew now."
            await asyncio.sleep(0.2)
        raise Problem(
            409,
            f"This page may not write {oven}, and the service that may (nightcure-adopt) did not. "
            f"On the oven's machine: sudo nightcure survey {self._services.settings.ledger} "
            f"--oven {oven} --write",
        )

    def _tell(self, **news: Any) -> None:
        self._now = self.now.model_copy(update=news)

    def _wall_s(self) -> float:
        live = self._services.reader.live()
        return 0.0 if live is None else float(live["wall_s"])

    def _cools(self, night_id: int) -> bool:
        """Whether the test is in its last segment: a skip would not touch anybody's next night."""
        live = self._services.reader.live()
        return live is not None and (live["night_id"], live["phase"]) == (night_id, "cool")

    def _why_over(self, night_id: int) -> str | None:
        night = self._services.reader.night(night_id)
        if night is None or night.outcome is None:
            return None
        return night.reason or f"The night is {night.outcome}."


def _put(path: Path, text: str) -> None:
    """In one step, closed only when it is whole: the service looks at it then."""
    fresh = path.with_name(f".{path.name}.new")
    fresh.write_text(text, encoding="utf-8")
    fresh.replace(path)


def _same(a: Model, b: Model) -> bool:
    return b.measured and all(
        abs(x - y) <= 1e-3 * abs(y)
        for x, y in ((getattr(a, k), getattr(b, k)) for k in ("loss_w_per_k", "heater_lag_s"))
    )
