"""What many probes that are sold as DS18B20 do otherwise: noisy, coarse, early, starved.

Most probes of the markets are clones (C. Petrich, counterfeit_DS18B20, survey of 2019 and later).
They do for an oven as long as one knows what they lack. The kernel's files are those of its
w1_therm (Documentation/ABI/testing/sysfs-driver-w1_therm).
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from statistics import fmean, pstdev

#: A step at 12 bit, K (manufacturer's data sheet).
STEP_K = 0.0625
FULL_BIT = 12
#: So many readings at the least tell noise from a value between two steps.
ENOUGH = 6
#: Readings between two steps scatter by 0.031 K at the most; noisier ones by more, over three
#: steps (Petrich's criterion for his families D1 and D2).
NOISY_K = 0.045
#: A conversion at 12 bit takes a genuine one 584 to 615 ms, the slowest clones that are not in a
#: hurry 325; those that take less than this are families C, D1, E and G (Petrich).
EARLY_MS = 320
#: Genuine numbers are 28-0000…: the two bytes before the checksum are zero (Petrich).
GENUINE = "28-0000"


def quirks(values_c: Sequence[float], folder: Path, measure: bool) -> list[str]:
    """What is odd about one thermometer, a clause each.

    Args:
        values_c: its good readings, one after the other, a second or so apart.
        folder: the kernel's, of this thermometer.
        measure: let the kernel time a conversion, which the next reading waits for.
    """
    found = []
    if _said(folder / "ext_power") == "0":
        found.append(
            "starved: it is fed through its data wire, which makes wrong values with a good "
            "checksum; connect its supply wire to 3.3 V"
        )
    bits = _said(folder / "resolution")
    if bits is not None and bits.isdecimal() and int(bits) < FULL_BIT:
        step = STEP_K * 2 ** (FULL_BIT - int(bits))
        found.append(f"coarse: it is set to {bits} bit, steps of {step:g} K")
    elif _coarse(values_c):
        found.append("coarse: it leaves out every second step")
    if _noisy(values_c):
        found.append("noisy: its readings scatter more than their steps explain")
    took_ms = _conversion_ms(folder / "conv_time") if measure else None
    if took_ms is not None and took_ms < EARLY_MS:
        found.append(f"early: it converts in {took_ms} ms, as no genuine one does")
    return found


def clones(ids: Sequence[str]) -> list[str]:
    """Those whose numbers the maker of the DS18B20 does not give."""
    return [i for i in ids if not i.startswith(GENUINE)]


def _noisy(values_c: Sequence[float]) -> bool:
    """Scatter about the line through them, so that an oven that cools is not taken for noise."""
    count = len(values_c)
    if count < ENOUGH or max(values_c) - min(values_c) < 3 * STEP_K:
        return False
    middle, mean = (count - 1) / 2.0, fmean(values_c)
    span = sum((i - middle) ** 2 for i in range(count))
    slope = sum((i - middle) * (v - mean) for i, v in enumerate(values_c)) / span
    rest = [v - mean - slope * (i - middle) for i, v in enumerate(values_c)]
    return pstdev(rest) > NOISY_K


def _coarse(values_c: Sequence[float]) -> bool:
    codes = {round(v / STEP_K) for v in values_c}
    return len(values_c) >= ENOUGH and len(codes) >= 3 and all(code % 2 == 0 for code in codes)


def _conversion_ms(file: Path) -> int | None:
    """How long a conversion takes, as the kernel measures it; None where it cannot say.

    The kernel would wait as long from now on; so it gets back its own time.
    """
    try:
        file.write_text("1\n", encoding="ascii")
        took = _said(file)
        file.write_text("0\n", encoding="ascii")
    except OSError:
        return None
    return int(took) if took is not None and took.isdecimal() and took != "1" else None


def _said(file: Path) -> str | None:
    try:
        return file.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        return None
