"""Plots in the terminal at 80 columns, read as the text that a person sees."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from nightcure.cli.plot import Axis, Curve, canvas, cure_plot, night_plot, round_ticks
from tests.nights import SETTINGS, changed

WIDTH = 80
HOURS = np.linspace(0.0, 10.6, 400)
SERIES = {
    "time_s": (3600.0 * HOURS).tolist(),
    "setpoint_c": np.minimum(8.7 + 15.0 * HOURS, 38.0).tolist(),
    "duty": np.clip(np.sin(HOURS), 0.0, 1.0).tolist(),
    **{t.name: (8.7 + 3.0 * HOURS + i).tolist() for i, t in enumerate(SETTINGS.thermometers)},
}


def plain(text: object) -> list[str]:
    return str(text).splitlines()


def bodies(lines: list[str]) -> list[list[str]]:
    """The rows inside each frame, without what stands at their axis."""
    found: list[list[str]] = []
    for line in lines:
        if "┌" in line:
            found.append([])
        inside = re.search(r"[│┤](.*)[│┤]?$", line)
        if inside and found and "└" not in line:
            found[-1].append(inside[1].rstrip("│"))
    return found


def test_the_legend_is_above_the_curves_and_no_word_is_among_them() -> None:
    """Fails before this: names lay over the first hours of the night."""
    lines = plain(night_plot(SETTINGS, SERIES, WIDTH))
    assert max(map(len, lines)) <= WIDTH
    first = next(i for i, line in enumerate(lines) if "┌" in line)
    head = " ".join(lines[:first])
    for name in ("°C", "setpoint", *(t.name for t in SETTINGS.thermometers)):
        assert name in head
    for body in bodies(lines):
        assert body
        assert not re.search(r"[A-Za-z°]", "".join(body))


def test_long_names_are_told_whole() -> None:
    """Forty characters are the most a name may have: broken between names, never cut."""
    names = [f"{n} {'x' * 36}"[:40] for n in ("Lid", "Rim", "Keel", "Bow")]
    curves = [Curve(n, [0.0, 1.0], [0.0, i], "green+") for i, n in enumerate(names)]
    lines = plain(canvas(curves, (WIDTH, 12), Axis(), Axis("°C"), "dotted: some  upright: 08:00"))
    assert max(map(len, lines)) <= WIDTH
    text = "\n".join(lines)
    for name in (*names, "dotted: some", "upright: 08:00"):
        assert any(name in line for line in lines), name
    assert text.index("┌") > text.index("upright: 08:00")


@pytest.mark.parametrize(
    ("low", "high"),
    [(8.9, 38.2), (0.0, 1.0), (-0.013, 0.021), (-12.0, -3.0), (20.0, 20.0), (0.0, 0.0),
     (71.9, 100.4), (0.0, 9999.0), (1e-6, 2e-6), (-1e-9, 1e-9)],
)  # fmt: skip
def test_ticks_are_round_and_hold_the_values(low: float, high: float) -> None:
    for most in (1, 2, 4, 8):
        ticks = round_ticks(low, high, most)
        assert ticks[0] <= low + 1e-9
        assert ticks[-1] >= high - 1e-9
        steps = np.diff(ticks)
        assert np.allclose(steps, steps[0])
        lead = steps[0] / 10.0 ** math.floor(math.log10(steps[0]) + 1e-9)
        assert min(abs(lead - round_) for round_ in (1.0, 2.0, 5.0)) < 1e-6
        assert len(ticks) <= most + 2


def test_the_axis_says_round_numbers_and_both_canvases_begin_at_one_column() -> None:
    lines = plain(night_plot(SETTINGS, SERIES, WIDTH))
    at = [line.index("┌") for line in lines if "┌" in line]
    assert at[0] == at[1]
    ticks = [m[1] for line in lines if (m := re.match(r" *(-?[\d.]+)┤", line))]
    assert all(float(t) == round(float(t)) for t in ticks)
    hours = [line.split() for line in lines if re.fullmatch(r"[\d ]+", line) and line.strip()]
    assert hours == [["0", "2", "4", "6", "8", "10"]] * 2


def test_in_fahrenheit_the_night_is_drawn_in_fahrenheit() -> None:
    other = changed(SETTINGS).model_copy(update={"units": "F"})
    lines = plain(night_plot(other, SERIES, WIDTH))
    assert lines[0].startswith("°F")
    assert any(line.startswith(" 100┤") for line in lines)


def test_a_gap_and_no_value_at_all_are_drawn_as_nothing() -> None:
    gone = {**SERIES, "Lid": [math.nan] * len(HOURS), "Rim": [math.nan, *SERIES["Rim"][1:]]}
    head = plain(night_plot(SETTINGS, gone, WIDTH))[0]
    assert "Lid" not in head
    assert "Rim" in head
    assert plain(canvas([], (WIDTH, 8), Axis(), Axis("°C")))


def test_a_cure_is_two_canvases_with_their_axes_named() -> None:
    time_s = SERIES["time_s"]
    degree = np.linspace(0.0, 0.9, len(time_s)).tolist()
    lines = plain(cure_plot(time_s, SERIES["Lid"], degree, WIDTH))
    assert max(map(len, lines)) <= WIDTH
    assert lines[0] == "the part, °C"
    assert "degree of cure" in lines
    assert lines[-1].strip() == "hours"
