"""Every number with a unit in the notes is vouched for, by the program or by a named source.

A number of a page that stands in neither list fails here; so does one of the lists that no page
says any more, and one of the program's that has changed. interlocks.md has its own test
(tests/guard/test_notes.py), the tables of mains parts theirs (tests/oven/test_mains.py).
"""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import replace
from pathlib import Path

import pytest

from nightcure.cure.vapour import default_evaporated_pct, vapour
from nightcure.guard.heat_check import LONGEST_TEST_UNQUIET_S
from nightcure.guard.heat_pulse import HeatPulse
from nightcure.loop.loop import FAN_RUNS_ON_S
from nightcure.oven.installation import ALARM_FROM_C, most_power_w, stuck_on_c
from nightcure.oven.mains import (
    AMERICAN_PLUG_HOURS_A,
    BASE_C,
    BRITISH_FUSES_A,
    ENCLOSURE_C,
    FUSE_OVER,
    GREASE_K_PER_W,
    PLUG_HOURS_A,
    RELAY_W_PER_A,
    TABLE_W,
    circuit,
)
from nightcure.plan.advise import KINDS
from nightcure.plan.makers import MakerOdds
from nightcure.plan.propose import SURE
from nightcure.plan.sampling import SLOW_TIMES
from nightcure.profile import load_profile
from nightcure.settings import (
    ACKNOWLEDGE_ABOVE_C,
    MARGIN_K,
    MOST_CUT_OUT_C,
    MOST_HEATER_C,
    Limits,
    load_settings,
)
from nightcure.setup.oven_file import RELAYS
from nightcure.simulate.rehearse import rehearse
from nightcure.simulate.scenario import BOX, HERE, PROFILES, ambient_c

from .pages import EVERYTHING, NOTES, PAGES

LIMITS = Limits()
SCENARIO = load_settings(HERE / "oven.toml")
LOSS, WATTS = SCENARIO.model.loss_w_per_k, SCENARIO.heater.power_w
WARM_C = SCENARIO.installation.warmest_c
PLUGGED_W = load_settings(HERE / "oven-plug-in.toml").heater.power_w
PARTS = circuit(WATTS)
WET = vapour(0.5, 42.0, default_evaporated_pct(42.0), 0.43, 38.0).ventilation_m3_per_h
WATCHDOG = (NOTES.parent / "systemd/60-nightcure-watchdog.conf").read_text(encoding="utf-8")
WATCHDOG_S = float(re.findall(r"RuntimeWatchdogSec=(\d+)", WATCHDOG)[0])
RUNS_ON_MIN = FAN_RUNS_ON_S / 60.0
#: The scenario's board by ISO 6946, W/(m² K).
PANEL = 1.0 / (0.13 + 0.025 / 0.024 + 0.13)
#: Measured, in the table of faults.
WELDED = r"`relay-welded` \| heater-stuck-on \|[^\n]*\| (\d+) / (\d+) / (\d+) \|\n"
TIME_TO_TRIP_S = [float(s) for s in re.findall(WELDED, PAGES["interlocks.md"])[0]]

#: Unit -> value -> whose number it is. What the program knows is reckoned, not written here.
OURS: dict[str, dict[float, str]] = {
    "°C": {
        LIMITS.cut_out_c or 0.0: "the cut-out as setup writes it",
        LIMITS.air_c: "the air's limit beside it; what has to be acknowledged; the hottest soak "
        "that any cut-out leaves room for",
        LIMITS.hottest_soak_c: "the hottest soak beside it",
        MOST_CUT_OUT_C: "the cut-out at the most",
        MOST_HEATER_C: "the heater's limit at the most",
        stuck_on_c(WATTS, LOSS, WARM_C): "the scenario's heater stuck on",
        WARM_C: "the scenario's warmest shed",
        ALARM_FROM_C: "a household alarm works from here",
        BASE_C: "a solid-state relay's base; also what foam and many probes' cables bear",
        ENCLOSURE_C: "an enclosure",
        38.0: "the scenario's soak; a household alarm works up to here",
        2.0: "the scenario's coldest shed",
    },
    "K": {MARGIN_K: "the margin", 2 * MARGIN_K: "twice the margin"},
    "W": {
        WATTS: "the scenario's heater", PLUGGED_W: "the plugged one",
        min(TABLE_W): "the table begins", max(TABLE_W): "the table ends",
        12.0 * 120.0: "12 A at 120 V, the plug's",
        3.9 * 36.0: "to hold 38 °C at 2 °C", 1.27 * 36.0: "what ducted air takes",
        RELAY_W_PER_A: "a solid-state relay's heat for each ampere, and makers' 1 to it",
    },
    "kW": {PLUG_HOURS_A * 0.23: "what a plug bears at 230 V"},
    "A": {
        PARTS.current_a: "the scenario's current", PARTS.fuse_a: "its fuse",
        PARTS.contactor_a: "its contactor and switch; the European circuit's breaker",
        PARTS.relay_a: "its relay; what a plug bears at 230 V",
        AMERICAN_PLUG_HOURS_A: "what a plug bears at 120 V",
        **dict.fromkeys(BRITISH_FUSES_A, "in the British plug"),
    },
    "%": {100 * FUSE_OVER: "a fuse above the current"},
    "K/W": {GREASE_K_PER_W: "grease"},
    "W/K": {
        LOSS: "the scenario's loss", PANEL * 3.6: "through its board",
        1.2 * 1005.0 / 3600.0: "of 1 m³/h of air", WET * 1.2 * 1005.0 / 3600.0: "of the wet part's",
    },
    "m³/h": {WET: "half a kilogram of wet resin", 0.5: "two holes (reckoned in test_pages)"},
    "min": {
        RUNS_ON_MIN: "a fan runs on",
        LONGEST_TEST_UNQUIET_S / 60.0: "a test of the switches waits",
        min(TIME_TO_TRIP_S) // 60.0: "a weld is seen, the soonest",
        -(-max(TIME_TO_TRIP_S) // 60.0): "the latest",
    },
    "s": {
        WATCHDOG_S: "the board's watchdog", RELAYS["contactor"].window_s: "a contactor's window",
        RELAYS["solid-state"].window_s: "a solid-state relay's",
        HeatPulse(SCENARIO).length_s: "the scenario's pulse",
    },
}  # fmt: skip
#: The same for what is not the program's: handbooks, standards and practice, as the notes mark it.
THEIRS: dict[str, dict[float, str]] = {
    "°C": {
        0.5: "DS18B20 data sheet", 85.0: "its power-on value, and the end of its ± 0.5 °C",
        125.0: "its end; cords inside, US", 75.0: "XPS, makers", 180.0: "H05SS-F",
        120.0: "silicone", 105.0: "a probe's cable, makers", 18.0: "a gelling corner",
        25.0: "the same; a store",
        30.0: "peroxide's store", 31.0: "styrene's flash point, ICSC 0073",
        490.0: "its autoignition, ICSC 0073", 465.0: "acetone's, from memory",
        32.0: "a plan's example",
        600.0: "a glowing wire, practice", 200.0: "black heat's surface, practice",
    },
    "K": {30.0: "the stack formula's example"},
    "W": {1.0: "a solid-state relay's heat, makers", 550.0: "3 A in the British plug",
          920.0: "5 A in it", 750.0: "where the plugged path ends", 1500.0: "sold for 120 V"},
    "kW": {3.0: "beyond a plug", 1.0: "a larger heater", 2.0: "a large one"},
    "V": {0.0: "0 V", 3.3: "the board", 5.0: "other boards", 12.0: "a fan", 24.0: "coils",
          3.0: "a relay's input", 32.0: "the same", 120.0: "mains", 230.0: "mains", 240.0: "mains",
          250.0: "IEC 60730-1", 500.0: "insulation test, IEC 60364-6", 600.0: "a relay's type"},
    "kV": {4.0: "reinforced insulation, IEC 60730-1"},
    "A": {8.0: "makers of car chargers", 15.0: "a US circuit; 1.5 mm² flex", 40.0: "a counterfeit"},
    "mA": {30.0: "IEC 61008", 15.0: "IEC 61008", 150.0: "IEC 61008", 4.0: "UL 943", 6.0: "UL 943",
           53.0: "UL 943, reckoned", 10.0: "a contactor box's input"},
    "ms": {300.0: "IEC 61008 at 30 mA", 40.0: "IEC 61008 at 150 mA"},
    "%": {0.9: "styrene, NFPA 497", 2.5: "acetone, from memory", 10.0: "a heater's tolerance; a "
          "voltage", 21.0: "its square", 15.0: "40 CFR 63 VVVV", 16.0: "the same", 42.0: "styrene "
          "in a resin", 65.0: "10 g of styrene, reckoned", 80.0: "NEC 210.23"},
    "mm": {2.0: "bare modules", 3.0: "bare modules", 8.0: "creepage, IEC 60730-1",
           20.0: "a hole", 25.0: "the scenario's board", 50.0: "a grid", 100.0: "heater to foam",
           200.0: "to parts"},
    "mm²": {1.5: "the least cable"},
    "AWG": {16.0: "the least cord", 14.0: "an extension lead"},
    "kΩ": {4.7: "the bus", 10.0: "a driver's input", 2.2: "a longer bus", 3.3: "the same"},
    "Ω": {0.5: "earth, practice"},
    "MΩ": {1.0: "insulation, IEC 60364-6"},
    "m": {0.6: "the scenario's box", 10.0: "a bus, practice", 30.0: "the same"},
    "W/(m²K)": {0.8: "ISO 6946"}, "W/(m K)": {0.024: "PIR"}, "m²K/W": {0.13: "ISO 6946"},
    "m²": {3.6: "the scenario's box"}, "m³": {0.4: "the scenario's box"},
    "kg/m³": {1.2: "air"}, "J/(kg K)": {1005.0: "air"}, "litres": {60.0: "a bin bag"},
    "s": {57.0: "that bag at 3.8 m³/h", 5.6: "UL 943 at 6 mA", 0.25: "at 53 mA", 1.43: "UL 943's "
          "exponent", 2.0: "a stop; flash-wear's tick", 10.0: "the dead-man, measured",
          600.0: "IEC 61000-3-3 reckons over ten minutes", 60.0: "a longer window"},
    "min": {23.0: "the campaign of switches", 76.0: "the same"},
    "ppm": {50.0: "NIOSH", 700.0: "NIOSH"}, "g": {3.8: "a quarter of 0.9 %", 10.0: "an example"},
    "g/mol": {104.15: "styrene", 29.0: "air"},
    "h": {12.0: "flash-wear's night", 7.0: "a plan's example"},
    "MB": {4.5: "measured", 170.0: "measured", 190.0: "measured"},
    "GB": {1.6: "a year of nights", 32.0: "a card", 70.0: "a year's writing"},
    "TB": {10.0: "a card, practice"},
    "switchings": {296.0: "rehearsed", 344.0: "rehearsed", 3500.0: "rehearsed"},
    "operations": {100_000.0: "a contactor, practice"},
    "nights": {290.0: "100 000 over 344", 100.0: "odds are told of so many"},
    "kilohm": {10.0: "a driver's input"},
}  # fmt: skip

NUMBER = r"\d+(?: 000| 500)?(?:\.\d+)?"
UNITS = "|".join(re.escape(u) for u in sorted({*OURS, *THEIRS}, key=len, reverse=True))
QUANTITY = re.compile(
    rf"(?<![\w.,-])({NUMBER})(?:(?: to | and | or |–| … )({NUMBER}))? ?({UNITS})(?![\w/²³])"
)


def said() -> dict[tuple[str, float, int], set[str]]:
    """Unit, value and decimals of every number in the notes, and the pages that say it."""
    found: dict[tuple[str, float, int], set[str]] = defaultdict(set)
    for name, text in PAGES.items():
        if name == "interlocks.md":
            continue
        text = re.sub(r"^\| \d+ W \|.*$", "", text, flags=re.M)  # the tables of mains parts
        for first, second, unit in QUANTITY.findall(text):
            for number in (first, second):
                if number:
                    plain = number.replace(" ", "")
                    found[unit, float(plain), len(plain.partition(".")[2])].add(name)
    return found


def vouched(unit: str, value: float, decimals: int) -> bool:
    """Whether somebody's number, rounded as the notes write it, is this one."""
    known = [*OURS.get(unit, {}), *THEIRS.get(unit, {})]
    return any(abs(value - k) <= 0.5 * 10.0**-decimals + 1e-9 for k in known)


def test_every_number_is_somebodys() -> None:
    """Fails before this: 624 of 1023 numbers could each be changed by a fifth, unnoticed."""
    unknown = [
        f"{value:g} {unit} in {', '.join(sorted(pages))}"
        for (unit, value, decimals), pages in said().items()
        if not vouched(unit, value, decimals)
    ]
    assert unknown == [], "enter it above with its source, or put the page right"


def test_no_number_is_vouched_for_in_vain() -> None:
    written = list(said())
    for table in (OURS, THEIRS):
        for unit, values in table.items():
            for value, what in values.items():
                assert any(
                    u == unit and abs(value - v) <= 0.5 * 10.0**-d + 1e-9 for u, v, d in written
                ), f"{value:g} {unit} ({what}) is said nowhere"


# ---- the limits, wherever they are said ----------------------------------------------------------


@pytest.mark.parametrize(
    ("page", "words"),
    [
        ("bill-of-materials.md", "set to {cut:g} °C; never above {most:g} °C |"),
        ("bill-of-materials.md", "for watts that could cook the box | {most:g} °C |"),
        ("bill-of-materials.md", "tolerance stated, {margin:g} K at the most"),
        ("bill-of-materials.md", "{watts:g} W at 230 V, {amps:.1f} A, with two cut-outs"),
        ("bill-of-materials.md", "hours: 10 A at 230 V (**2.3 kW**"),
        ("bill-of-materials.md", "12 A at 120 V (**1440 W**: 80 % of 15 A, NEC 210.23)"),
        ("bill-of-materials.md", "Fuse: 125 % of the current"),
        ("bill-of-materials.md", "Contactor: 1.5 times the current"),
        ("bill-of-materials.md", "Solid-state relay: 2.5 times. Its heat: 1.5 W for each A"),
        ("bill-of-materials.md", "base stays under 80 °C at 40 °C in the enclosure [V], 0.2 K/W"),
        ("wiring.md", "{twice:g} K or more above the hottest soak and to {most:g} °C at the most; "
         "{cut:g} °C in the scenario, whose air trips at {air:g} °C"),
        ("wiring.md", "what the fan moves: set it to {most:g} °C"),
        ("wiring.md", "`heater_c` {heater:g} °C at the most"),
        ("wiring.md", "lets it run on {runs_on:g} min after the heat"),
        ("wiring.md", "watchdog resets it after {watchdog:g} s"),
        ("wiring.md", "with {window:g} s it makes 296 switchings"),
        ("plug-in.md", "window {window:g} s, 344 switchings"),
        ("plug-in.md", "The scenario's box loses {loss:g} W/K; in a shed of {warm:g} °C"),
        ("plug-in.md", "brings the box to {most:g} °C at the most"),
        ("boxes.md", "hence the cut-out at {most:g} °C at the most"),
        ("boxes.md", "{watts:g} W in this box end at {stuck:.0f} °C when the shed has {warm:g} °C"),
        ("boxes.md", "= {loss:g} × ({most:g} − {warm:g}) = **{plugged:g} W**"),
        ("boxes.md", "lids and joints bring it to {loss:g}."),
        ("boxes.md", "(`cut_outs = 2`)"),
        ("commissioning.md", "opens within {margin:g} K of its setting ({cut:g} °C: between "
         "{low:g} and {high:g})"),
        ("commissioning.md", "the shield's probe under {heater:g} °C"),
        ("commissioning.md", "no foam over {most:g} °C"),
        ("commissioning.md", "| runs on {runs_on:g} min |"),
        ("commissioning.md", "stuck-on temperature {most:g} °C at the most on the warmest day"),
        ("fire-and-vapour.md", "limit `heater_c` {heater:g} °C at the most"),
        ("fire-and-vapour.md", "the probe on its shield under {heater:g} °C"),
        ("fire-and-vapour.md", "runs on** for {runs_on:g} min"),
        ("insurer.md", "cure at up to ____ °C (at most {hottest:g} °C)"),
        ("insurer.md", "({most:g} °C at the most / two independent cut-outs are fitted)"),
        ("what-it-cannot.md", "stays {margin:g} K below the cut-out, and that is set to {most:g}"),
        ("what-it-cannot.md", "A limit for parts above {acknowledge:g} °C is refused"),
        ("what-it-cannot.md", "bring the box above {most:g} °C however long"),
        ("what-it-cannot.md", "(`role = \"heater\"`), up to {heater:g} °C"),
        ("what-it-cannot.md", "until the watchdog's reset, {watchdog:g} s"),
        ("what-it-cannot.md", "sees it in {soonest:.0f} to {latest:.0f} min (rehearsed)"),
        ("cautions.md", "Set it to {most:g} °C at the most"),
        ("README.md", "the table from {table_low:g} to {table_high:g} W"),
    ],
)  # fmt: skip
def test_a_page_says_what_the_settings_say(page: str, words: str) -> None:
    expected = words.format(
        cut=LIMITS.cut_out_c, most=MOST_CUT_OUT_C, air=LIMITS.air_c, margin=MARGIN_K,
        twice=2 * MARGIN_K, heater=MOST_HEATER_C, low=(LIMITS.cut_out_c or 0) - MARGIN_K,
        high=(LIMITS.cut_out_c or 0) + MARGIN_K, runs_on=RUNS_ON_MIN, watchdog=WATCHDOG_S,
        window=RELAYS["contactor"].window_s, loss=LOSS, warm=WARM_C, watts=WATTS,
        stuck=stuck_on_c(WATTS, LOSS, WARM_C), plugged=most_power_w(LOSS, WARM_C),
        hottest=MOST_CUT_OUT_C - 2 * MARGIN_K, acknowledge=ACKNOWLEDGE_ABOVE_C,
        soonest=min(TIME_TO_TRIP_S) // 60.0, latest=-(-max(TIME_TO_TRIP_S) // 60.0),
        table_low=min(TABLE_W), table_high=max(TABLE_W), amps=PARTS.current_a,
    )  # fmt: skip
    assert expected in PAGES[page]


def test_what_the_scenario_declares_is_told() -> None:
    """300 W need two cut-outs; the README's table has the same switchings."""
    assert SCENARIO.limits.cut_outs == 2
    assert "1.2 × 0.6 × 0.6 m inside" in PAGES["boxes.md"]
    assert f"oven size --warmest {WARM_C:g}" in PAGES["plug-in.md"]
    for page in ("commissioning.md", "supply-eu.md"):  # IEC 61008: half the rated current
        assert re.search(r"over 15 and at 30 mA at|between 15 and 30 mA", PAGES[page])
    readme = Path(NOTES.parent / "README.md").read_text(encoding="utf-8")
    assert "it switches 296 times in the night" in readme
    assert "235 s window" in readme
    assert round(100_000 / 344, -1) == 290


@pytest.mark.parametrize(
    ("oven", "profile", "told"),
    [
        ("oven.toml", "lid-and-rim.toml", 3500),
        ("oven-contactor.toml", "lid-and-rim.toml", 296),
        ("oven-plug-in.toml", "lid-and-rim-slow.toml", 344),
    ],
)
def test_the_switchings_told_are_those_of_the_rehearsal(oven: str, profile: str, told: int) -> None:
    s = load_settings(HERE / oven)
    network = replace(BOX, power_w=s.heater.power_w)
    figures = rehearse(s, load_profile(PROFILES / profile), network, ambient_c).figures
    assert figures.outcome == "done"
    assert figures.relay_switches == pytest.approx(told, rel=0.1)


def test_the_first_nights_example_is_a_plans_own_sentence() -> None:
    """What the page is shown to say is what the program says of such odds."""
    page = PAGES["first-night.md"]
    said = re.findall(r"^> (Probably: .+)$", page, flags=re.M)
    assert said == [
        f"Probably: with 32 °C for 7 h every part is hard by 08:00 in 89 of 100 nights: "
        f"{MakerOdds(0.97, 0.48, 0.99).sentence()}; a gel cup settles it."
    ]
    assert f"in {100 * SURE:g} of 100 nights without a trip" in page
    assert "differ about threefold" in page
    assert pytest.approx(3.0, rel=0.01) == SLOW_TIMES**2
    for kind in KINDS:
        assert f"**{kind}**" in page


def test_every_sum_comes_out() -> None:
    """Each `a × (b − c) = d W` of the notes, rounded as it is written."""
    sums = re.findall(
        r"(\d+\.?\d*) × \((\d+\.?\d*) − (\d+\.?\d*)\) = (?:\*\*)?(\d+\.?\d*) W", EVERYTHING
    )
    assert len(sums) >= 2
    for a, b, c, d in sums:
        assert float(d) == pytest.approx(float(a) * (float(b) - float(c)), abs=1.0)
    assert pytest.approx(1.21) == 1.1**2  # 10 % more voltage, 21 % more heat
    assert pytest.approx(0.8, abs=0.05) == PANEL
    assert "3.6 times as heavy as air" in PAGES["fire-and-vapour.md"]
    assert pytest.approx(3.6, abs=0.05) == 104.15 / 29.0


def test_alternative_texts_name_the_pins_of_the_drawing() -> None:
    """GPIO17 is header pin 11 in what is read aloud, too."""
    (alt,) = re.findall(r"!\[(The board's header[^\]]*)\]", PAGES["wiring.md"])
    pairs = re.findall(r"GPIO(\d+) (?:is header pin )?(\d+)", alt)
    assert dict(pairs) == {"4": "7", "17": "11", "27": "13", "22": "15", "23": "16"}
    assert "3.3 V pin 1, ground 6, 9, 14 and 20" in alt
    assert "`gpio=17,22,27=op,dl`" in PAGES["wiring.md"]
    assert "on 14 and 15 the serial console talks" in PAGES["wiring.md"]
    assert "`dtoverlay=w1-gpio,gpiopin=4`" in PAGES["wiring.md"]
    pair = "GPIO27 (header pin 13) with ground (14) as one pair to K1, GPIO17 (header pin 11) with "
    assert f"{pair}ground (9) as one pair to K2" in PAGES["plug-in.md"]
    assert (
        "3.3 V (header pin 1), data on GPIO4 (header pin 7), 0 V (header pin 6)"
        in (PAGES["wiring.md"])
    )
    assert "GPIO9 to 27, without 14 and 15.** GPIO0 to 8 are pulled *up*" in PAGES["wiring.md"]
    assert "*Header* pin 17 is 3.3 V and *header* pin 27 is GPIO0" in PAGES["wiring.md"]


def test_the_sheets_lines_are_numbered() -> None:
    numbers = [int(n) for n in re.findall(r"^\| (\d+)(?: ⚡)? \|", PAGES["commissioning.md"], re.M)]
    assert numbers == list(range(1, len(numbers) + 1))
