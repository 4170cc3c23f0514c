"""`nightcure oven open` and `shut` on a real controller: pins follow, wet resin keeps them off."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.workshop import Workshop, wait_for


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Workshop]:
    with Workshop(tmp_path) as made:
        yield made


def box(shop: Workshop, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "nightcure", "oven", *arguments, "--ledger", str(shop.ledger)],
        env=shop.env, cwd=shop.folder, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip


def test_the_box_is_opened_and_shut_from_the_command_line(shop: Workshop) -> None:
    shop.controller()
    assert box(shop, "open", "--looking").returncode == 2, "no night is running"
    shop.start_heating()
    said = json.loads(box(shop, "open", "--laying", "--json").stdout)
    assert said["message"].startswith("The heater is off, and stays off until you confirm")
    wait_for(lambda: not shop.heater_on() and not shop.contactor_on(), 10, "both pins off")
    refused = box(shop, "shut")
    assert refused.returncode == 2
    assert "Wet resin was laid: the heat stays off" in " ".join(refused.stderr.split())
    assert not shop.heater_on()
    assert box(shop, "shut", "--aired").returncode == 0
    wait_for(shop.heater_on, 30, "the heater's pin on again")
