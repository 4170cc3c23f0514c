"""`nightcure adopt`: the page proposes, root writes; nothing but an oven's model and its gains."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from nightcure.cli.main import app
from nightcure.ledger.latch_file import Latch, LatchFile
from nightcure.settings import load_settings
from nightcure.simulate.scenario import OVEN_FILE

MODEL = {
    "loss_w_per_k": 3.2, "air_capacity_j_per_k": 15000.0, "mould_capacity_j_per_k": 14000.0,
    "mould_lag_s": 2600.0, "heater_lag_s": 180.0, "measured": True,
}  # fmt: skip
GAINS = {"gain_w_per_k": 40.0, "integral_s": 500.0, "derivative_s": 30.0, "filter_s": 10.0}


def an_oven(folder: Path) -> Path:
    oven = folder / "oven.toml"
    text = OVEN_FILE.read_text("utf-8")
    oven.write_text(text.replace("nightcure.ledger", str(folder / "nightcure.ledger")))
    oven.chmod(0o640)
    return oven


def adopt(oven: Path, request: Any, state: Path | None = None) -> tuple[int, str]:
    """Exit status, and what was said."""
    asked = oven.with_name("asked.json")
    if not asked.is_symlink():
        asked.write_text(request if isinstance(request, str) else json.dumps(request))
    environment = {} if state is None else {"STATE_DIRECTORY": str(state)}
    done = CliRunner().invoke(app, ["adopt", str(asked), "--oven", str(oven)], env=environment)
    return done.exit_code, " ".join((done.stdout + done.stderr).split())


def asking(regulator: dict[str, Any] | None = None, **model: Any) -> dict[str, Any]:
    return {"night_id": 3, "model": {**MODEL, **model}, "regulator": {**GAINS, **(regulator or {})}}


def test_only_model_and_gains_change_and_the_old_file_is_kept(tmp_path: Path) -> None:
    """Fails before this: the request's regulator kind and assumed shed were taken, too."""
    oven = an_oven(tmp_path)
    text, before = oven.read_bytes(), load_settings(oven)
    asked = asking({"kind": "bang-bang", "feed_forward": False}, assumed_ambient_c=49.0)
    status, said = adopt(oven, asked)
    assert status == 0, said
    assert json.loads(said) == {"kept": "oven.toml.bak"}
    assert (tmp_path / "oven.toml.bak").read_bytes() == text
    assert oven.stat().st_mode & 0o777 == 0o640
    after = load_settings(oven)
    assert after.model.model_dump() == {**before.model.model_dump(), **MODEL}
    assert after.regulator.model_dump() == {**before.regulator.model_dump(), **GAINS}
    for name in before.model_fields_set - {"model", "regulator"}:
        assert getattr(after, name) == getattr(before, name), name
    assert adopt(oven, asked)[0] == 0
    assert len(list(tmp_path.glob("*.bak*"))) == 2, "what the second one replaced"


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (asking(loss_w_per_k=0.1), "with a heater of 300 W it should be 0.75 to 60 W/K."),
        (asking(loss_w_per_k=400), "it should be 0.75 to 60 W/K."),
        (asking(loss_w_per_k=-1), "loss_w_per_k is -1"),
        (asking(air_capacity_j_per_k=10, mould_capacity_j_per_k=0), "it should be 300 to"),
        (asking(loss_w_per_k="much"), "it should be a number"),
        (asking({"gain_w_per_k": 1e9}), "it should be at most 5000"),
        ({**asking(), "limits": {"air_c": 200}}, "limits"),
        ({**asking(), "heater": {"pin": 4}}, "heater"),
        ({"model": MODEL}, "night_id"),
        ("[1, 2", "asked.json"),
        ("x" * 20_000, "longer than a request can be"),
    ],
)  # fmt: skip
def test_what_is_no_oven_or_more_than_one_is_refused(tmp_path: Path, asked: Any, said: str) -> None:
    oven = an_oven(tmp_path)
    before = oven.read_bytes()
    status, told = adopt(oven, asked)
    assert status == 2, told
    assert said in told
    assert "Traceback" not in told
    assert oven.read_bytes() == before
    assert not list(tmp_path.glob("*.bak*"))


def test_a_link_is_not_followed(tmp_path: Path) -> None:
    oven = an_oven(tmp_path)
    (tmp_path / "asked.json").symlink_to("/etc/shadow")
    status, told = adopt(oven, "")
    assert status == 2
    assert "cannot be read" in told


@pytest.mark.parametrize(
    ("latch", "said"),
    [
        (Latch("armed", "night", 1.0), "A night is under way"),
        (Latch("tripped", trip="exotherm", message="Hot."), "after a person's reset"),
        (Latch("clear"), ""),
    ],
)
def test_not_in_a_night_and_not_over_a_trip(tmp_path: Path, latch: Latch, said: str) -> None:
    """Fails before this: it was written under a night. The latch is the service's, not the
    ledger's neighbour, where the unit names its folder."""
    state = tmp_path / "state"
    state.mkdir()
    kept = LatchFile(state)
    kept.write(latch)
    oven = an_oven(tmp_path)
    before = oven.read_bytes()
    status, told = adopt(oven, asking(), state)
    assert (status == 0) == (said == ""), told
    assert said in told
    assert (oven.read_bytes() == before) == (said != "")
    kept.close()


def test_old_files_do_not_fill_the_disk(tmp_path: Path) -> None:
    oven = an_oven(tmp_path)
    for number in range(50):
        (tmp_path / f"oven.toml.bak{number}").write_text("x")
    status, told = adopt(oven, asking())
    assert status == 2
    assert "put some away first" in told
