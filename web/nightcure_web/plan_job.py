"""Will it do tonight? `nightcure.plan` as one of `jobs`, so many times an hour at the most."""

from __future__ import annotations

import json
import time
from collections import deque
from importlib.util import find_spec
from typing import Any

from nightcure.profile import Profile
from nightcure.settings import Settings, Web

from .jobs import Jobs
from .problems import Problem, together

#: Two hundred nights take five seconds, on a small board half a minute.
LONGEST_PLAN_S = 120
#: Three profiles are searched for in some hundreds of trials.
LONGEST_ADVICE_S = 420
#: A plan is thought over before the next: one every two minutes, or a few quickly and then none.
MOST_AN_HOUR = 30
HOUR_S = 3600.0
#: Ask again so soon where something else is being reckoned, s.
SOON_S = 5

NO_NUMERICS = (
    "This machine cannot reckon a night: numpy and scipy are not installed. Install nightcure with "
    "its extra 'planning' (systemd/install --planning), or run 'nightcure plan' on another machine."
)


class PlanJob:
    """One application's plans."""

    def __init__(self, settings: Settings, jobs: Jobs) -> None:
        # What the page's own process alone must know stays in it.
        self._settings = settings.model_copy(update={"web": Web()}).model_dump(mode="json")
        self._jobs = jobs
        self._begun_s: deque[float] = deque(maxlen=MOST_AN_HOUR)

    async def plan(self, profile: Profile, asked: dict[str, Any]) -> dict[str, Any]:
        """The plan for a night as `plan_process` is asked for it.

        Raises:
            Problem: it cannot be reckoned here (501) or now (429), took too long (503), or the
                plan refuses the night (422).
        """
        if not all(find_spec(name) for name in ("numpy", "scipy")):
            raise Problem(501, NO_NUMERICS)
        self._take_turn(time.monotonic())
        question = {**asked, "settings": self._settings, "profile": profile.model_dump(mode="json")}
        done = await self._jobs.run(
            "The plan", LONGEST_ADVICE_S if asked.get("advise") else LONGEST_PLAN_S,
            "nightcure_web.plan_process",
            sent=json.dumps(question).encode(),
        )  # fmt: skip
        if done.status < 0:
            raise Problem(503, "The plan was ended from outside, perhaps because memory is short.")
        if done.status > 0:
            raise RuntimeError(done.err.decode(errors="replace"))
        answer: dict[str, Any] = json.loads(done.out)
        if "refused" in answer:
            raise Problem(422, together(answer["refused"]))
        return answer

    def _take_turn(self, now_s: float) -> None:
        if self._jobs.busy:
            wait_s, why = SOON_S, "Another plan or survey is being reckoned"
        elif len(self._begun_s) == MOST_AN_HOUR and now_s - self._begun_s[0] < HOUR_S:
            wait_s = int(self._begun_s[0] + HOUR_S - now_s) + 1
            why = f"{MOST_AN_HOUR} nights were reckoned within the hour, which is the most"
        else:
            self._begun_s.append(now_s)
            return
        raise Problem(429, f"{why}; ask again in {wait_s} s.", {"Retry-After": str(wait_s)})
