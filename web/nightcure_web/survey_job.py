"""The guided survey from the page: a heat-and-cool night, ended once the oven is known.

The numerics run as one of `jobs`. What is asked of the oven is a start and a stop: should this
server die, the test runs to its own end as any night does, every interlock active.
"""

from __future__ import annotations

import asyncio
import json
import logging
from typing import Any

from nightcure.errors import NightcureError
from nightcure.profile import parse_profile
from nightcure.survey.heat_and_cool import enough, profile_for

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


class SurveyJob:
    """One application's guided survey, and surveys of nights that are over."""

    def __init__(self, services: Services, jobs: Jobs) -> None:
        self._services = services
        self._jobs = jobs
        self._task: asyncio.Task[None] | None = None
        self.now = SurveyNow(running=False, sentence="No test has been run from this page.")

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
        self.now = SurveyNow(
            running=True,
            night_id=night_id,
            precision_pct=precision_pct,
            noted_s=0.0,
            sentence="The test has begun; nothing is known yet.",
        )
        self._task = asyncio.create_task(self._follow(night_id, precision_pct, who))
        return self.now

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

    async def _follow(self, night_id: int, precision_pct: float, who: str) -> None:
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
                if known:
                    if await asyncio.to_thread(self._why_over, night_id) is not None:
                        continue  # it ended meanwhile: a stop might end somebody's next night
                    await self._services.command("stop", {}, f"survey for {who}")
                    self._tell(running=False, sentence=f"{self.now.sentence} The test was ended.")
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
        loss = found["loss_w_per_k"]
        half_pct: float = 100.0 * ((loss["high"] / loss["low"]) ** 0.5 - 1.0)
        self._tell(
            noted_s=noted_s,
            half_width_pct=round(half_pct, 1),
            found=Found.model_validate(found),
            sentence=f"The loss is {loss['value']:.3g} W/K, known within ±{half_pct:.0f} %.",
        )
        return enough(half_pct, float(found["fallen_s"]), precision_pct)

    def _tell(self, **news: Any) -> None:
        self.now = self.now.model_copy(update=news)

    def _wall_s(self) -> float:
        live = self._services.reader.live()
        return 0.0 if live is None else float(live["wall_s"])

    def _why_over(self, night_id: int) -> str | None:
        night = self._services.reader.night(night_id)
        if night is None or night.outcome is None:
            return None
        return night.reason or f"The night is {night.outcome}."
