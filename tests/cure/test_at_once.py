"""How much may be laid at once: against the slab itself, and what is said of it."""

from __future__ import annotations

import pytest

from nightcure.cure.card import load_card
from nightcure.cure.thickness import largest_at_once, peak_of

CARD = load_card("polyester-laminating")
AIR = [(0.0, 20.0), (7200.0, 20.0), (14400.0, 36.0), (43200.0, 36.0)]


@pytest.mark.parametrize("limit_c", [45.0, 60.0])
def test_so_much_stays_within_the_limit_and_a_little_more_does_not(limit_c: float) -> None:
    found = largest_at_once(CARD, 2.0, 0.8, 0.004, AIR, limit_c)
    assert found.most_kg is not None
    assert found.thickest_m is not None
    assert not found.at_least
    assert found.most_kg == pytest.approx(0.8 * found.thickest_m / 0.004)
    assert peak_of(CARD, 2.0, found.thickest_m, AIR).temp_c <= limit_c
    assert peak_of(CARD, 2.0, found.thickest_m + 0.0006, AIR).temp_c > limit_c


def test_a_cooler_limit_bears_less() -> None:
    cool, warm = (largest_at_once(CARD, 2.0, 0.8, 0.004, AIR, c).most_kg for c in (45.0, 60.0))
    assert cool is not None
    assert warm is not None
    assert cool < warm


def test_what_is_said() -> None:
    found = largest_at_once(CARD, 2.0, 0.8, 0.004, AIR, 45.0)
    assert found.most_kg is not None
    assert "at most" in found.sentence("Lid", 0.1)
    assert "goes, each after" in found.sentence("Lid", 5.0)
    thin = largest_at_once(CARD, 2.0, 0.1, 0.0006, AIR, 58.0)
    assert thin.at_least
    assert "would still stay under 58 °C" in thin.sentence("Rim", 0.1)
