"""Tonight's plan over HTTP: what it says, who may ask, how often, and that it stands back."""

from __future__ import annotations

import asyncio
import json
import os
import threading
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from typer.testing import CliRunner

from nightcure.cli.main import app as commands
from nightcure.profile import load_profile
from nightcure.simulate.scenario import OVEN_FILE, PARTS_FILE
from nightcure_web import plan_job as planning
from nightcure_web.app import create_app
from nightcure_web.jobs import Jobs
from nightcure_web.low_priority import STANDS_BACK
from nightcure_web.plan_job import MOST_AN_HOUR, PlanJob
from nightcure_web.problems import Problem
from nightcure_web.profile_input import without_files
from tests.nights import SHORT
from tests.workshop import wait_for

from .conftest import HASH, PASSPHRASE, settings_for

PROFILE = load_profile(PARTS_FILE).model_dump(mode="json")
ASKED = {"profile": PROFILE, "lowest_c": 2, "evening_c": 9, "nights": 50}
#: Soon reckoned.
BRIEF = {**ASKED, "profile": {**SHORT.model_dump(mode="json"), "parts": PROFILE["parts"]},
         "goal": "gelled", "by": "00:00"}  # fmt: skip


@pytest.fixture
def person(client: TestClient) -> TestClient:
    assert client.post("/api/login", json={"passphrase": PASSPHRASE}).status_code == 200
    return client


@pytest.fixture(scope="module")
def told(night_ledger: Path) -> dict[str, Any]:
    """The answer to what is asked."""
    with TestClient(create_app(settings_for(night_ledger)), raise_server_exceptions=False) as asks:
        asks.post("/api/login", json={"passphrase": PASSPHRASE})
        answer = asks.post("/api/plan", json=ASKED)
    assert answer.status_code == 200, answer.text
    said: dict[str, Any] = answer.json()
    return said


def test_it_says_what_the_command_says(told: dict[str, Any]) -> None:
    """The same night by `nightcure plan`, which is checked against another program's nights."""
    options = ["--profile", str(PARTS_FILE), "--lowest", "2", "--evening", "9", "--nights", "50"]
    said = CliRunner().invoke(commands, ["plan", str(OVEN_FILE), *options, "--json"])
    assert said.exit_code == 0, said.output
    by_command = json.loads(said.stdout)
    assert f"{told['answer']} {told['weak_point']}" == by_command["answer"]
    for key in ("probability", "energy_kwh", "milestones", "warnings", "levers"):
        assert told[key] == by_command[key], key


def test_its_curves_begin_in_the_shed_and_are_in_order(told: dict[str, Any]) -> None:
    times_s, lines = told["curves"]["time_s"], told["curves"]["lines"]
    assert [line["name"] for line in lines] == ["air", "Lid", "Rim", "shed"]
    assert times_s == sorted(times_s)
    assert told["deadline_s"] < times_s[-1] < told["deadline_s"] + 7200.0
    for line in lines:
        assert len(line["p10_c"]) == len(line["p50_c"]) == len(line["p90_c"]) == len(times_s)
        for low_c, middle_c, high_c in zip(
            line["p10_c"], line["p50_c"], line["p90_c"], strict=True
        ):
            assert low_c <= middle_c <= high_c
        assert abs(line["p50_c"][0] - 9.0) < 2.0
    assert min(lines[-1]["p50_c"]) == pytest.approx(2.0, abs=0.5)


def test_a_night_too_short_is_told_with_what_would_help(person: TestClient) -> None:
    told = person.post("/api/plan", json={**ASKED, "by": "22:20", "lowest_c": -10}).json()
    assert 0.0 < told["probability"] < 0.5
    gains = [lever["probability_gain"] for lever in told["levers"]]
    assert gains == sorted(gains, reverse=True)
    assert gains[0] > 0.2
    shorter = next(x for x in told["levers"] if x["what"] == "starting an hour earlier")
    assert shorter["probability_gain"] > 0.1


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"by": "20:00"}, "is the start"),
        ({"by": "20:20"}, "not before the deadline"),
        ({"lowest_c": 12}, "should not be above the start"),
        ({"goal": "boiled"}, "goal"),
        ({"start": "24:00"}, "start"),
        ({"lowest_c": 61}, "lowest_c"),
        ({"nights": 100_000}, "nights"),
        ({"profile": {**PROFILE, "parts": []}}, "No part has a resin card"),
        ({"profile": {**PROFILE, "segments": [{"kind": "soak", "at_c": 90, "hours": 1}]}}, "90"),
    ],
)
def test_what_cannot_be_reckoned_is_refused(
    person: TestClient, changes: dict[str, Any], sentence: str
) -> None:
    answer = person.post("/api/plan", json={**ASKED, **changes})
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert sentence in answer.json()["detail"]
    assert answer.json()["detail"].endswith(".")


def test_it_needs_the_login_and_this_very_page(client: TestClient) -> None:
    assert client.post("/api/plan", json=ASKED).status_code == 401
    client.post("/api/login", json={"passphrase": PASSPHRASE})
    elsewhere = {"Origin": "http://elsewhere.example"}
    assert client.post("/api/plan", json=ASKED, headers=elsewhere).status_code == 403


def test_without_the_numerics_it_says_what_to_install(
    person: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(planning, "find_spec", lambda name: None if name == "scipy" else name)
    answer = person.post("/api/plan", json=ASKED)
    assert answer.status_code == 501
    assert "extra 'planning'" in answer.json()["detail"]


def test_one_at_a_time_while_the_page_goes_on(person: TestClient) -> None:
    jobs = person.app.state.planning._jobs  # type: ignore[attr-defined]
    statuses: list[int] = []

    def ask() -> None:
        statuses.append(person.post("/api/plan", json=BRIEF).status_code)

    first = threading.Thread(target=ask)
    first.start()
    wait_for(lambda: jobs.busy, 20, "the plan is being made")
    assert person.get("/api/status").status_code == 200
    second = person.post("/api/plan", json=BRIEF)
    assert second.status_code == 429
    assert int(second.headers["retry-after"]) > 0
    assert jobs.busy, "all that was answered meanwhile"
    first.join(60)
    assert statuses == [200]


def test_so_many_an_hour() -> None:
    made = PlanJob(settings_for(Path("none.ledger")), Jobs())
    for minute in range(MOST_AN_HOUR):
        made._take_turn(60.0 * minute)
    with pytest.raises(Problem) as refused:
        made._take_turn(60.0 * MOST_AN_HOUR)
    assert refused.value.status == 429
    assert refused.value.headers == {"Retry-After": "1801"}
    made._take_turn(3600.0)


def test_a_card_that_came_with_its_figures_is_never_looked_for(
    person: TestClient, tmp_path: Path
) -> None:
    """A pipe nobody writes to: whoever opens it waits for ever."""
    pipe = tmp_path / "card.toml"
    os.mkfifo(pipe)
    parts = [{**part, "card": str(pipe)} for part in PROFILE["parts"]]
    assert all(part["figures"] for part in parts)
    profile = {**BRIEF["profile"], "parts": parts}
    answer = person.post("/api/plan", json={**BRIEF, "profile": profile})
    assert answer.status_code == 200, answer.text
    kept = load_profile(PARTS_FILE)
    assert without_files(kept) == kept


def test_the_plans_process_is_told_no_secret() -> None:
    made = PlanJob(settings_for(Path("none.ledger")), Jobs())
    assert HASH not in json.dumps(made._settings)


LOOK = (
    "import os, signal; print(os.getpriority(os.PRIO_PROCESS, 0), signal.getitimer(0)[0],"
    " open('/proc/self/oom_score_adj').read().strip(), os.environ['OMP_NUM_THREADS'])"
)


def test_hard_work_stands_back() -> None:
    """Niceness and OOM score as the kernel tells them (getpriority(2), proc(5))."""
    look = ("timeit", "-n", "1", "-r", "1", LOOK)
    done = asyncio.run(Jobs().run("The look", 60, *look))
    assert done.status == 0, done.err
    nice, left_s, oom_score, threads = done.out.split()[:4]
    assert int(nice) == min(os.getpriority(os.PRIO_PROCESS, 0) + STANDS_BACK, 19)
    assert 0 < float(left_s) <= 60
    assert (oom_score, threads) == (b"1000", b"1")


def test_hard_work_that_takes_too_long_ends_itself() -> None:
    sleep = ("timeit", "-n", "1", "-r", "1", "import time; time.sleep(100)")
    with pytest.raises(Problem, match="The sleep took more than 1 s") as given_up:
        asyncio.run(Jobs().run("The sleep", 1, *sleep))
    assert given_up.value.status == 503


def test_hard_work_nobody_waits_for_any_more_is_ended() -> None:
    """As when the server stops: the process goes with the request that wanted it."""
    jobs = Jobs()

    async def give_up() -> None:
        sleep = ("timeit", "-n", "1", "-r", "1", "import time; time.sleep(100)")
        task = asyncio.create_task(jobs.run("The sleep", 100, *sleep))
        await asyncio.sleep(0.5)
        assert jobs.busy
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task
        assert not jobs.busy

    asyncio.run(give_up())
