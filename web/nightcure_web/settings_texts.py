"""The settings in words: group by group, where each stands, its name, its unit, what it is for.

What is secret (the passphrase's hash) is not here, so that it is shown nowhere.
"""

from __future__ import annotations

Words = tuple[str, str, str, str]

GROUPS: tuple[tuple[str, tuple[Words, ...]], ...] = (
    (
        "Limits",
        (
            ("limits.air_c", "Air", "°C", "Hotter air trips the oven."),
            ("limits.part_c", "Parts", "°C", "A hotter part or mould trips the oven."),
            ("limits.heater_c", "Heater", "°C", "A hotter heater surface trips the oven."),
            (
                "limits.cut_out_c",
                "Cut-out",
                "°C",
                "What the independent cut-out is set to: the air's limit stays 5 K below it, soaks "
                "5 K below that.",
            ),
            ("limits.cut_out_tolerance_k", "Cut-out's tolerance", "K", "How far off it may open."),
            ("limits.cut_outs", "Cut-outs", "", "How many there are, independent of each other."),
            ("limits.exotherm_c", "Exotherm", "K", "A part may be so much hotter than the air."),
            ("limits.ramp_c_per_h", "Ramp", "K/h", "The steepest the moulds take."),
            ("limits.longest_heater_on_h", "Heater on", "h", "On without a pause at most so long."),
            ("limits.longest_night_h", "Night", "h", "A longer night is not started, and trips."),
            ("limits.gelled_parts_only", "Gelled parts only", "", "No wet part is shut in."),
            (
                "limits.i_accept_limits_above_60_c",
                "Limits above 60 °C",
                "",
                "Whether the oven's owner answers for limits that foam and peroxide do not bear.",
            ),
        ),
    ),
    (
        "Box and place",
        (
            ("installation.wiring", "Wiring", "", "Boxes plugged together, or wired."),
            ("installation.supply", "Mains", "", "Whose plugs, fuses and codes."),
            ("installation.foam", "Foam", "", "Never polystyrene."),
            ("installation.heater", "Heater", "", "Its kind; never one that glows or sparks."),
            ("installation.fan", "Fan", "", "Always fed, or none; one with a pin is named below."),
            ("installation.warmest_c", "Warmest day", "°C", "For a heater that is stuck on."),
            ("installation.alarm", "Smoke alarm", "", "In the shed, linked to where you sleep."),
            ("installation.people_sleep", "People sleep", "", "Never in the oven's building."),
        ),
    ),
    (
        "Heater and relay",
        (
            ("heater.power_w", "Power", "W", "What the heater draws when it is on."),
            ("heater.pin", "Relay's pin", "BCM", "The output that switches the relay."),
            ("heater.active_high", "Active high", "", "Whether a high pin means on."),
            ("heater.window_s", "Window", "s", "In each of these the heater is on for its share."),
            ("heater.min_on_s", "Shortest on", "s", "Spares the relay's contacts."),
            ("heater.min_off_s", "Shortest off", "s", "Spares the relay's contacts."),
            ("contactor.pin", "Contactor's pin", "BCM", "Drops on every trip and at every end."),
            ("fan.pin", "Fan's pin", "BCM", "Runs half an hour after the heat."),
            ("stop_button.pin", "Stop button's pin", "BCM", "Pressed, it ends the night."),
        ),
    ),
    (
        "Regulator",
        (
            ("regulator.kind", "Kind", "", "How the duty is found."),
            ("regulator.gain_w_per_k", "Gain", "W/K", "Watts for each degree below the setpoint."),
            ("regulator.integral_s", "Integral time", "s", "How soon a lasting error is made up."),
            ("regulator.derivative_s", "Derivative time", "s", "How far ahead a change is judged."),
            ("regulator.filter_s", "Filter", "s", "Smooths what the derivative sees."),
            ("regulator.feed_forward", "Feed-forward", "", "Heat the model foresees, at once."),
            ("regulator.hysteresis_c", "Hysteresis", "K", "Bang-bang: half the band's width."),
        ),
    ),
    (
        "What is known of the oven",
        (
            ("model.measured", "Measured", "", "By a survey; else guessed, or by sizes."),
            ("model.loss_w_per_k", "Loss", "W/K", "Heat lost for each degree above outside."),
            ("model.air_capacity_j_per_k", "Air's heat capacity", "J/K", "With the inner skin."),
            ("model.mould_capacity_j_per_k", "Moulds' heat capacity", "J/K", "All together."),
            ("model.mould_lag_s", "Moulds' lag", "s", "How long they take to follow the air."),
            ("model.heater_lag_s", "Heater's lag", "s", "How long it takes to give its heat."),
            (
                "model.assumed_ambient_c",
                "Ambient if unknown",
                "°C",
                "Taken where no ambient thermometer is believed.",
            ),
        ),
    ),
    (
        "Electricity",
        (
            ("electricity.price_per_kwh", "Price", "per kWh", "For what a night costs."),
            ("electricity.currency", "Currency", "", "What the price is in."),
        ),
    ),
    (
        "Rhythm",
        (
            ("timing.tick_s", "Tick", "s", "How often the oven is looked at and decided on."),
            ("timing.dead_man_s", "Dead-man", "s", "No decision for so long: the relay opens."),
            ("timing.resume_within_min", "Resume within", "min", "After a power cut no longer."),
            ("timing.resume_lost_c", "Resume if lost", "K", "And only if the air fell no further."),
        ),
    ),
    (
        "Page",
        (
            ("web.address", "Address", "", "Where the page listens."),
            ("web.port", "Port", "", "Where the page listens."),
            ("web.reading", "Reading", "", "open: whoever reaches the page sees the oven."),
            ("web.hosts", "Names", "", "Names the page goes by besides this machine's own."),
            ("web.ovens", "Ovens", "", "Other ovens' pages, shown beside this one."),
            ("web.proxies", "Proxies", "", "They alone may say for whom they ask."),
            ("ledger", "Ledger", "", "The file that keeps everything."),
        ),
    ),
)  # fmt: skip

#: Values of a few words in oven.toml, as people say them.
VALUES: dict[str, dict[str, str]] = {
    "installation.supply": {
        "eu": "European, 230 V",
        "uk": "British, 230 V",
        "us-120": "American, 120 V",
        "us-240": "American, 240 V",
    },
    "installation.foam": {"pir": "PIR"},
    "installation.alarm": {"cold-rated": "rated for the cold"},
    "regulator.kind": {"pid": "PID"},
    "web.reading": {"login": "with the login"},
}
