"""The live state as OpenMetrics text (the specification's version 1.0): names, units, types.

Written by hand: a few gauges need no library in the page's server.
"""

from __future__ import annotations

from typing import Any

from nightcure import __version__
from nightcure.ledger.outbox import OutboxState

MEDIA_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"
PHASES = ("idle", "ramp", "soak", "cool", "done", "tripped")
Labels = dict[str, str]


class Families:
    """Metric families, one after the other."""

    def __init__(self) -> None:
        self._lines: list[str] = []

    def add(
        self, name: str, kind: str, said: str, *samples: tuple[Labels, float | bool | None],
        unit: str = "",
    ) -> None:  # fmt: skip
        """One family: a sample without a value is left out, and so is a family without samples."""
        there = [(labels, value) for labels, value in samples if value is not None]
        if not there:
            return
        full = f"nightcure_{name}"
        self._lines.append(f"# TYPE {full} {kind}")
        if unit:
            self._lines.append(f"# UNIT {full} {unit}")
        self._lines.append(f"# HELP {full} {_escaped(said)}")
        suffix = {"counter": "_total", "info": "_info"}.get(kind, "")
        for labels, value in there:
            shown = ",".join(f'{k}="{_escaped(v)}"' for k, v in labels.items())
            number = repr(float(value)) if isinstance(value, float) else int(value)
            self._lines.append(f"{full}{suffix}{{{shown}}} {number}".replace("{}", ""))

    def text(self) -> str:
        """All of them."""
        return "".join(f"{line}\n" for line in [*self._lines, "# EOF"])


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")


def _word(value: bool) -> str:
    return "true" if value else "false"


def exposition(oven: str, live: dict[str, Any] | None, outbox: OutboxState | None) -> str:
    """Everything that is measured: of the oven, and of who is told."""
    f, own = Families(), {"oven": oven}
    f.add("build", "info", "The program.", ({**own, "version": __version__}, 1))
    if live is not None:
        _of_oven(f, own, live)
    if outbox is not None:
        f.add(
            "notifier_seen_timestamp_seconds", "gauge", "When the notifier was seen last.",
            (own, outbox.alive_s), unit="seconds",
        )  # fmt: skip
        f.add(
            "service_failing",
            "gauge",
            "Whether a service of the notifier fails.",
            *(({**own, "service": s.name}, s.failing_s is not None) for s in outbox.services),
        )
        f.add(
            "service_waiting_messages", "gauge", "Messages that a service has not taken yet.",
            *(({**own, "service": s.name}, s.waiting) for s in outbox.services), unit="messages",
        )  # fmt: skip
    return f.text()


def _of_oven(f: Families, own: Labels, live: dict[str, Any]) -> None:
    f.add(
        "controller_word_timestamp_seconds", "gauge", "When the controller wrote last.",
        (own, float(live["host_s"])), unit="seconds",
    )  # fmt: skip
    f.add(
        "air_temperature_celsius", "gauge", "The air that the regulator believes.",
        (own, live["control_c"]), unit="celsius",
    )  # fmt: skip
    f.add("setpoint_celsius", "gauge", "The setpoint now.", (own, live["setpoint_c"]),
          unit="celsius")  # fmt: skip
    f.add(
        "thermometer_celsius",
        "gauge",
        "Each thermometer that is believed.",
        *(
            ({**own, "thermometer": t["name"], "role": t["role"]}, t["value_c"])
            for t in live["thermometers"]
        ),
        unit="celsius",
    )
    f.add(
        "thermometer_believed", "gauge", "Whether a thermometer is believed.",
        *(
            ({**own, "thermometer": t["name"], "role": t["role"]}, t["value_c"] is not None)
            for t in live["thermometers"]
        ),
    )  # fmt: skip
    f.add("duty_ratio", "gauge", "Share of full power.", (own, float(live["duty"])), unit="ratio")
    f.add("heater_power_watts", "gauge", "Full power of the heater.",
          (own, float(live["power_w"])), unit="watts")  # fmt: skip
    f.add("heater_on", "gauge", "Whether the heater's relay is closed.", (own, live["heater"]))
    f.add("relay_operations", "counter", "How often the heater's relay was told to change.",
          (own, live["switchings"]))  # fmt: skip
    f.add("waiting", "gauge", "Whether the night waits.", (own, live["waiting"]))
    f.add("night_seconds", "gauge", "How long the night has lasted.",
          (own, float(live["night_s"])), unit="seconds")  # fmt: skip
    f.add(
        "phase", "stateset", "Where the night is.",
        *(({**own, "nightcure_phase": p}, live["phase"] == p) for p in PHASES),
    )  # fmt: skip
    f.add("tripped", "gauge", "Whether a trip holds the oven off.", (own, live["trip"] is not None))
    f.add(
        "alarm_active", "gauge", "Alarms that are not normal.",
        *(
            ({**own, "alarm": a["name"], "state": a["state"], "trip": _word(a["latching"])}, 1)
            for a in live["alarms"]
        ),
    )  # fmt: skip
