"""Rubbish in every field for numbers on every screen: refused below it, the others untouched."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Locator, Page, expect

from .conftest import RunningDemo
from .hands import see, steering

#: Fields that take a number, on the screen or in its dialog.
NUMBERS = "input[inputmode=decimal]"
#: What is told: what was typed and what would be right, or that something is needed.
TOLD = re.compile(r"“rubbish” is no number: [-−\d.]+ to [\d.]+|should be a number, .+ to ")


def unfold(page: Page) -> None:
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")


def values(within: Locator) -> list[str]:
    found: list[str] = within.locator("input:not([type=time]), select").evaluate_all(
        "all => all.map(x => x.value)"
    )
    return found


def every_field(page: Page, within: Locator) -> int:
    """Type rubbish into each field in turn; how many there were."""
    unfold(page)
    fields = within.locator(NUMBERS)
    expect(fields.first).to_be_visible()
    count = fields.count()
    for i in range(count):
        field = fields.nth(i)
        before = values(within)
        right = field.input_value()
        field.fill("rubbish")
        about = field.locator("xpath=ancestor::*[self::label or self::div][1]")
        refusal = about.locator("xpath=descendant-or-self::*[contains(@class, 'refusal')]").or_(
            about.locator("xpath=parent::*//*[contains(@class, 'refusal')]")
        )
        expect(refusal.first).to_have_text(TOLD)
        expect(field).to_have_attribute("aria-invalid", "true")
        expect(field).to_have_value("rubbish")
        others = [b for a, b in zip(before, values(within), strict=True) if a != b]
        assert others == ["rubbish"], f"field {i}: {others}"
        field.fill(right)
        assert values(within) == before
    return count


def screens(page: Page, running: RunningDemo) -> Iterator[tuple[str, Locator, int]]:
    """Each place with fields, and how many it has at the least.

    The start of tonight goes with the clock until somebody types another; it is left out.
    """
    main = page.locator("main")
    see(page, running, "start")
    page.get_by_role("button", name="Change it").click()
    yield "start", main, 13
    see(page, running, "oven/ruler")
    yield "a box", main, 9
    page.get_by_role("radio", name="a tube of panels").check()
    yield "a tube", main, 10
    page.get_by_role("radio", name="any other, by its panels").check()
    yield "panels", main, 10
    see(page, running, "oven/cards")
    yield "a card", main, 4
    page.get_by_role("button", name="Next: its gel times").click()
    page.get_by_role("button", name="A row of the data sheet").click()
    yield "its gel times", main, 5
    page.get_by_role("button", name="Take out gel time 1").click()
    page.get_by_role("button", name="Next: its cure").click()
    yield "its cure", main, 3
    dialog = page.get_by_role("dialog")
    see(page, running, "now")
    page.get_by_role("button", name="A cup is mixed …").click()
    yield "a gel cup", dialog, 4
    dialog.get_by_role("button", name="Back").click()
    see(page, running, "oven")
    page.get_by_role("button", name="Test the oven …").click()
    yield "a test of the oven", dialog, 1
    dialog.get_by_role("button", name="Back").click()
    page.get_by_role("button", name="Check Lid").click()
    for how in ("beside a reference", "typed in"):
        dialog.get_by_role("radio", name=how).check()
        yield how, dialog, 1
    dialog.get_by_role("button", name="Back").click()
    see(page, running, "start")
    page.get_by_role("button", name="Work it out …").click()
    yield "tonight's odds", dialog, 2
    dialog.get_by_role("button", name="Back").click()


@pytest.mark.timeout(600)
def test_every_field_for_a_number_refuses_rubbish_where_it_is_typed(
    page: Page, archive: RunningDemo, quiet: list[str]
) -> None:
    """Sixty wrong inputs are asked for of page, API and commands; here are the page's."""
    steering(page, archive)
    found = 0
    for place, within, least in screens(page, archive):
        count = every_field(page, within)
        assert count >= least, (place, count)
        found += count
    assert found >= 60, found
    assert quiet == []
