"""Publishes to a broker by MQTT 5 (the library paho). Nothing is subscribed.

Topics below the oven's own: `availability` (`online`, `offline`; the last will), `state` (retained,
JSON with units in the keys) and `message` (each message, JSON, with its number).
"""

from __future__ import annotations

import json
import re
import ssl
import threading
import time
from contextlib import suppress
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from .. import __version__
from ..errors import BadInput
from ..ledger.outbox import Message, Outbox
from ..settings import Settings
from ..settings.notifications import Mqtt
from .hub_discovery import discovery
from .service import Refused

NAME = "mqtt"
#: The broker is told so often that this end is there, s; it misses it after half as long again.
KEEPALIVE_S = 15
#: How long a message waits for the broker's receipt, s.
RECEIPT_S = 10.0
#: After a break it is tried again so soon, at least and at most, s.
RETRY_S = 1, 8


def own_topic(settings: Settings, mqtt: Mqtt) -> str:
    """The oven's topic: as declared, else from its name, in letters that every client can type."""
    name = re.sub(r"[^a-z0-9]+", "-", settings.name.lower()).strip("-") or "oven"
    return mqtt.topic or f"nightcure/{name}"


def telemetry(live: dict[str, Any] | None, answers: bool) -> dict[str, Any]:
    """The state as published: what changes through a night, units in the keys."""
    if live is None:
        return {"answers": False}
    return {
        "answers": answers,
        "oven": live["oven"],
        "phase": live["phase"],
        "air_c": live["control_c"],
        "setpoint_c": live["setpoint_c"],
        "duty_percent": round(100.0 * live["duty"], 1),
        "heater_on": live["heater"] if answers else None,
        "power_w": round(live["duty"] * live["power_w"], 1),
        "waiting": live["waiting"],
        "trip": None if live["trip"] is None else live["trip"]["name"],
        "alarms": [a["name"] for a in live["alarms"]],
        "ends_unix_s": live["ends_s"],
        "at_unix_s": live["wall_s"],
        "thermometers_c": {t["name"]: t["value_c"] for t in live["thermometers"]},
    }


class Publisher:
    """The connection to a broker; it comes back by itself. Its calls wait for no network but
    `send`, which belongs to a service's own thread.

    Raises:
        BadInput: the authority's certificate cannot be used.
    """

    def __init__(
        self,
        settings: Settings,
        mqtt: Mqtt,
        password: str | None,
        outbox: Outbox,
        check: bool = False,
    ) -> None:
        """`check`: beside a notifier that runs: says nothing of the oven but the one message."""
        self._settings, self._mqtt, self._outbox = settings, mqtt, outbox
        self.topic = own_topic(settings, mqtt)
        self._state: dict[str, Any] | None = None
        self._news = threading.Event()
        self._stopping = False
        self._told_s = 0.0
        self._told: tuple[Any, ...] | None = None
        self._check = check
        client_id = self.topic.replace("/", "-") + ("-check" if check else "")
        self.client = paho.Client(
            CallbackAPIVersion.VERSION2, client_id=client_id, protocol=paho.MQTTv5
        )
        if not check:
            self.client.will_set(f"{self.topic}/availability", "offline", qos=1, retain=True)
        self.client.reconnect_delay_set(*RETRY_S)
        self.client.connect_timeout = 10.0
        if mqtt.username is not None:
            self.client.username_pw_set(mqtt.username, password)
        if mqtt.tls:
            try:
                self.client.tls_set(None if mqtt.ca is None else str(mqtt.ca))
            except (OSError, ssl.SSLError) as error:
                said = getattr(error, "strerror", None) or "it is no certificate"
                raise BadInput(
                    f"notifications.mqtt.ca: {mqtt.ca} cannot be used: {said}."
                ) from None
        self.client.on_connect = self._connected
        self.client.on_connect_fail = self._not_reached
        self.client.on_disconnect = self._disconnected
        self._thread = threading.Thread(target=self._work, name="telemetry", daemon=True)

    def start(self) -> None:
        """Connect, and go on trying."""
        self.client.connect_async(self._mqtt.host, self._mqtt.port_used, KEEPALIVE_S)
        self.client.loop_start()
        self._thread.start()

    def show(self, state: dict[str, Any]) -> None:
        """What is true now."""
        self._state = state
        self._news.set()

    def stop(self) -> None:
        """Say that nobody is here any more, and leave."""
        self._stopping = True
        self._news.set()
        if self.client.is_connected() and not self._check:
            left = self.client.publish(f"{self.topic}/availability", "offline", 1, True)
            with suppress(ValueError, RuntimeError):  # the broker has just gone
                left.wait_for_publish(2)
        self.client.disconnect()
        stopper = threading.Thread(target=self.client.loop_stop, daemon=True)
        stopper.start()
        stopper.join(2.0)

    def send(self, message: Message) -> None:
        """One message, until the broker has it. Raises Refused."""
        if not self.client.is_connected():
            raise Refused(self._why or "The broker is not connected.")
        told = {
            "id": message.id,
            "kind": message.kind,
            "at_unix_s": message.at_s,
            "title": message.title,
            "text": message.text,
        }
        receipt = self._publish("message", told, qos=1, retain=False)
        try:
            receipt.wait_for_publish(RECEIPT_S)
        except (ValueError, RuntimeError):
            raise Refused("The connection to the broker broke off.") from None
        if not receipt.is_published():
            raise Refused("The broker gave no receipt.")

    # ---- the library's thread -----------------------------------------------------------------

    _why = ""

    def _connected(
        self, client: paho.Client, _: Any, __: Any, reason: Any, ___: Any = None
    ) -> None:
        if reason.is_failure:
            self._fails(f"The broker refuses: {str(reason).lower()}.")
            return
        self._why = ""
        self._outbox.works(NAME)
        if self._check:
            return
        client.publish(f"{self.topic}/availability", "online", 1, True)
        if self._mqtt.hub_discovery is not None:
            place, payload = discovery(self._settings, self._mqtt.hub_discovery, self.topic)
            client.publish(place, json.dumps(payload), 1, True)
        self._told = None
        self._news.set()

    def _not_reached(self, *_: Any) -> None:
        self._fails("The broker was not reached.")

    def _disconnected(self, _: Any, __: Any, ___: Any, reason: Any, ____: Any = None) -> None:
        if not self._stopping:
            self._fails(self._why or f"The connection broke off: {str(reason).lower()}.")

    def _fails(self, sentence: str) -> None:
        self._why = sentence
        self._outbox.failed(NAME, sentence, time.time())

    # ---- telemetry ------------------------------------------------------------------------------

    def _work(self) -> None:
        while not self._stopping:
            self._news.wait(self._mqtt.every_s)
            self._news.clear()
            state, now_s = self._state, time.monotonic()
            if state is None or not self.client.is_connected():
                continue
            mark = tuple(state.get(k) for k in ("answers", "phase", "trip", "waiting"))
            alarms = tuple(state.get("alarms", ()))
            due = now_s - self._told_s >= self._mqtt.every_s
            if due or self._told != (*mark, alarms):
                self._publish("state", state, qos=1, retain=True)
                self._told, self._told_s = (*mark, alarms), now_s

    def _publish(
        self, name: str, told: dict[str, Any], qos: int, retain: bool
    ) -> paho.MQTTMessageInfo:
        properties: Any = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
        properties.ContentType = "application/json"
        properties.UserProperty = ("nightcure", __version__)
        payload = json.dumps(told, ensure_ascii=False, allow_nan=False)
        return self.client.publish(f"{self.topic}/{name}", payload, qos, retain, properties)
