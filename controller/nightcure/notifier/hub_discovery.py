"""How a home hub finds the oven by itself: one retained message that describes it as a device with
sensors. Off unless a prefix is declared; no control is offered.

After the device discovery of a widespread home hub (from memory).
"""

from __future__ import annotations

from typing import Any

from .. import __version__
from ..settings import Settings

#: Name, key of the state, unit, device class.
SENSORS = (
    ("Air", "air_c", "°C", "temperature"),
    ("Setpoint", "setpoint_c", "°C", "temperature"),
    ("Heater", "duty_percent", "%", "power_factor"),
    ("Power", "power_w", "W", "power"),
    ("Phase", "phase", None, None),
)


def discovery(settings: Settings, prefix: str, topic: str) -> tuple[str, dict[str, Any]]:
    """The topic, and what is published there."""
    number = topic.replace("/", "-")
    components: dict[str, dict[str, Any]] = {}
    for name, key, unit, kind in SENSORS:
        component: dict[str, Any] = {
            "platform": "sensor",
            "name": name,
            "unique_id": f"{number}-{key}",
            "value_template": f"{{{{ value_json.{key} }}}}",
        }
        if unit is not None:
            component |= {"unit_of_measurement": unit, "device_class": kind}
            component |= {"state_class": "measurement"}
        components[key] = component
    components["problem"] = {
        "platform": "binary_sensor",
        "name": "Alarm",
        "device_class": "problem",
        "unique_id": f"{number}-problem",
        "value_template": "{{ 'ON' if value_json.alarms or not value_json.answers else 'OFF' }}",
    }
    return f"{prefix}/device/{number}/config", {
        "device": {"identifiers": [number], "name": settings.name, "sw_version": __version__},
        "origin": {"name": "nightcure", "sw_version": __version__},
        "availability_topic": f"{topic}/availability",
        "state_topic": f"{topic}/state",
        "components": components,
    }
