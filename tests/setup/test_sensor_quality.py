"""Thermometers as people really buy them are named for what they lack.

Figures: C. Petrich, counterfeit_DS18B20 (README of 30 Nov 2024): noise of families, conversion
times, numbers; the manufacturer's data sheet for steps and resolutions.
"""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest

from nightcure.setup.sensor_quality import STEP_K, clones, quirks

ROUNDS = 8


def said(values_c: list[float], folder: Path) -> str:
    return "; ".join(quirks(values_c, folder, measure=True))


def stepped(value_c: float) -> float:
    return round(value_c / STEP_K) * STEP_K


@pytest.mark.parametrize("seed", range(40))
def test_a_genuine_one_has_no_quirk(seed: int, tmp_path: Path) -> None:
    """Nothing but its steps: still, between two steps, or in an oven that cools (1 K/min)."""
    chance = random.Random(seed)
    base_c, drift_k = chance.uniform(-5.0, 60.0), chance.uniform(-0.017, 0.017)
    values_c = [stepped(base_c + i * drift_k + chance.gauss(0.0, 0.01)) for i in range(ROUNDS)]
    assert said(values_c, tmp_path) == ""
    assert said([9.0, 9.0625] * 4, tmp_path) == "", "an even split: 0.031 K"


def test_a_noisy_one_is_named(tmp_path: Path) -> None:
    """Families D1, D2: beyond 0.031 K and over two steps. Of 200 nearly all are found."""
    chance = random.Random(7)
    found = sum(
        "noisy" in said([stepped(9.0 + chance.gauss(0.0, 0.12)) for _ in range(ROUNDS)], tmp_path)
        for _ in range(200)
    )
    assert found > 180


def test_a_coarse_one_is_named(tmp_path: Path) -> None:
    """By its own setting, or by the steps that it leaves out."""
    (tmp_path / "resolution").write_text("10\n")
    assert "coarse: it is set to 10 bit, steps of 0.25 K" in said([9.0] * ROUNDS, tmp_path)
    (tmp_path / "resolution").write_text("12\n")
    assert said([9.0] * ROUNDS, tmp_path) == ""
    leaves_out = [9.0 + 0.125 * math.floor(i / 2) for i in range(ROUNDS)]
    assert "leaves out every second step" in said(leaves_out, tmp_path)


class KernelsConvTime:
    """w1_therm's conv_time: 1 measures a conversion and answers how long it took (ms)."""

    def __init__(self, took_ms: int) -> None:
        self.took_ms = took_ms
        self.written: list[str] = []

    def write_text(self, text: str, encoding: str) -> None:
        self.written.append(text)

    def read_text(self, encoding: str) -> str:
        return f"{self.took_ms}\n"


class Folder:
    """A thermometer's, with that file alone."""

    def __init__(self, file: KernelsConvTime, nothing: Path) -> None:
        self._file, self._nothing = file, nothing

    def __truediv__(self, name: str) -> object:
        return self._file if name == "conv_time" else self._nothing / name


@pytest.mark.parametrize(
    ("took_ms", "early"), [(11, True), (28, True), (226, True), (584, False), (750, False)]
)
def test_one_in_a_hurry_is_named(took_ms: int, early: bool, tmp_path: Path) -> None:
    """Conversions of families D1, C, G; a genuine one's; the data sheet's longest."""
    file = KernelsConvTime(took_ms)
    folder: Path = Folder(file, tmp_path)  # type: ignore[assignment]
    assert ("early" in said([9.0] * ROUNDS, folder)) is early
    assert file.written == ["1\n", "0\n"], "measured, and its own time given back"
    assert quirks([9.0] * ROUNDS, folder, measure=False) == [], "not while a controller reads"


def test_a_starved_one_is_named(tmp_path: Path) -> None:
    """w1_therm's ext_power: 0 where it is fed through its data wire."""
    (tmp_path / "ext_power").write_text("0\n")
    assert "starved" in said([9.0] * ROUNDS, tmp_path)
    (tmp_path / "ext_power").write_text("1\n")
    assert said([9.0] * ROUNDS, tmp_path) == ""


def test_clones_have_other_numbers() -> None:
    assert clones(["28-00000bbb9b13", "28-0300a2795846", "28-005bb7000019"]) == [
        "28-0300a2795846", "28-005bb7000019",
    ]  # fmt: skip
