"""MQTT 5 against Debian's broker: retained state, last will, messages in order over its deaths,
credentials, TLS with an authority of one's own; and that no broker can steer the oven."""

from __future__ import annotations

import json
import signal
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import psutil
import pytest

from nightcure.ledger.outbox import Message, Outbox, read_outbox
from nightcure.notifier.mqtt import NAME, Publisher, own_topic, telemetry
from nightcure.notifier.service import Service
from nightcure.settings import Settings
from tests.nights import SETTINGS, word
from tests.recording import RecordedOven
from tests.test_settings import GOOD
from tests.workshop import wait_for

from .broker import Broker, Listener, broker
from .services import SECRET, NotifierProcess, telling, write_secrets

TOPIC = "nightcure/estuary-box"
AVAILABILITY, STATE, MESSAGE = (f"{TOPIC}/{x}" for x in ("availability", "state", "message"))


def settings_for(folder: Path, at: Broker, **keys: Any) -> Settings:
    mqtt = {"host": "127.0.0.1", "port": at.port, "every_s": 1.0, **keys}
    return telling(folder / "m.ledger", mqtt=mqtt)


Publish = Callable[..., Publisher]


@pytest.fixture
def publish(tmp_path: Path) -> Iterator[Publish]:
    made: list[Publisher] = []

    def make(at: Broker, password: str | None = None, **keys: Any) -> Publisher:
        settings = settings_for(tmp_path, at, **keys)
        mqtt = settings.notifications.mqtt
        assert mqtt is not None
        outbox = Outbox(tmp_path / "m.ledger.outbox")
        publisher = Publisher(settings, mqtt, password, outbox)
        publisher.outbox = outbox  # type: ignore[attr-defined]
        outbox.join(NAME)
        publisher.start()
        made.append(publisher)
        return publisher

    yield make
    for publisher in made:
        publisher.stop()


def why(folder: Path) -> str:
    state = read_outbox(folder / "m.ledger.outbox", time.time())
    assert state is not None
    return next((s.sentence or "" for s in state.services if s.name == NAME), "")


def test_state_is_retained_and_the_will_is_there(tmp_path: Path, publish: Publish) -> None:
    with broker(tmp_path) as at, RecordedOven(tmp_path / "x.ledger") as oven:
        oven.run(60.0)
        publisher = publish(at)
        wait_for(lambda: oven.recorder.silent_s(oven.t_s) == 0.0, 10, "it is written")
        from nightcure.ledger.reader import LedgerReader

        live = LedgerReader(oven.ledger).live()
        publisher.show(telemetry(live, True))
        late = Listener(at.port)
        wait_for(lambda: STATE in late.last and AVAILABILITY in late.last, 10, "both are there")
        later = Listener(at.port)  # whoever comes afterwards hears it at once
        wait_for(lambda: STATE in later.last and AVAILABILITY in later.last, 10, "retained")
        assert all(retained for _, _, retained in later.came)
        state = later.state(STATE)
        assert later.last[AVAILABILITY] == b"online"
        assert state["phase"] == "ramp"
        assert state["air_c"] == pytest.approx(9.0, abs=1.0)
        assert state["answers"] is True
        units = ("_c", "_percent", "_w", "_s")
        numbers = {k for k, v in state.items() if isinstance(v, float)}
        assert all(k.endswith(units) for k in numbers), numbers
        later.close()
        late.close()


def test_ten_restarts_of_the_broker_lose_no_message_and_no_state(
    tmp_path: Path, publish: Publish
) -> None:
    """State right after each; every message, in order, none lost; doubles with their number."""
    at = Broker(tmp_path)
    at.up()
    publisher = publish(at)
    outbox: Outbox = publisher.outbox  # type: ignore[attr-defined]
    service = Service(NAME, publisher.send, outbox, people=False)
    service.start()
    told: list[tuple[int, str]] = []
    waits_s = []
    for i in range(10):
        publisher.show({"answers": True, "phase": f"night {i}", "alarms": []})
        # Messages while it is there, while it dies, and while it is away.
        outbox.put([Message(f"{i} a", "warning", 1.0, 0.0, "t", f"{i} a")])
        service.wake()
        at.kill()
        outbox.put([Message(f"{i} b", "trip", 1.0, 0.0, "t", f"{i} b")])
        service.wake()
        at.up()
        began_s = time.monotonic()
        listener = Listener(at.port)
        wait_for(
            lambda i=i, listener=listener: listener.state(STATE).get("phase") == f"night {i}",  # type: ignore[misc]
            30, "the state is there again",
        )  # fmt: skip
        waits_s.append(time.monotonic() - began_s)
        assert listener.last[AVAILABILITY] == b"online"
        wait_for(lambda: outbox.next(NAME, None) is None, 30, "every message is taken")
        for topic, payload, _ in listener.came:
            if topic == MESSAGE:
                message = json.loads(payload)
                told.append((message["id"], message["text"]))
        listener.close()
    service.stop(5.0)
    at.kill()
    numbers = [number for number, _ in told]
    assert numbers == sorted(numbers), "in order"
    # What was taken before a kill was heard by nobody here; what came after each return is whole.
    assert {f"{i} b" for i in range(10)} <= {text for _, text in told}
    assert len({text for _, text in told}) == len(set(numbers)), "a double has the same number"
    print(f"back after {max(waits_s):.1f} s at the most")


def test_wrong_credentials_are_told_and_right_ones_work(tmp_path: Path, publish: Publish) -> None:
    with broker(tmp_path, password=("oven", SECRET)) as at:
        publish(at, "wrong", username="oven")
        wait_for(lambda: "refuses: not authorized" in why(tmp_path), 15, why(tmp_path))
        assert SECRET not in why(tmp_path)
    (tmp_path / "right").mkdir()
    with broker(tmp_path / "right", password=("oven", SECRET)) as at:
        publisher = publish(at, SECRET, username="oven")
        wait_for(publisher.client.is_connected, 15, "it is let in")
        wait_for(lambda: why(tmp_path) == "", 5, "and the page is told so")


def test_tls_with_an_authority_of_ones_own(tmp_path: Path, publish: Publish) -> None:
    with broker(tmp_path, tls=True) as at:
        publisher = publish(at, tls=True, ca=str(at.ca))
        wait_for(publisher.client.is_connected, 20, "it is connected")
        publisher.stop()
        stranger = publish(at, tls=True)  # the authority is not known: no connection
        time.sleep(3.0)
        assert not stranger.client.is_connected()
        assert why(tmp_path), "and that is told"


def test_nothing_is_subscribed_and_nothing_can_be_commanded(
    tmp_path: Path, publish: Publish
) -> None:
    with broker(tmp_path) as at, RecordedOven(tmp_path / "m.ledger") as oven:
        oven.run(20.0)
        publisher = publish(at)
        wait_for(publisher.client.is_connected, 10, "it is connected")
        subscriptions = Listener(at.port, "$SYS/broker/subscriptions/count")
        pest = Listener(at.port)
        wait_for(lambda: bool(subscriptions.last), 20, "the broker counts")
        for topic in ("", "/set", "/command", "/stop", "/state", "/state/set", "/availability"):
            for payload in (
                "stop",
                json.dumps({"word": "stop"}),
                json.dumps(word("stop")._asdict()),
            ):
                pest.client.publish(f"{TOPIC}{topic}", payload, qos=1).wait_for_publish(5)
        time.sleep(1.0)
        decision = oven.tick()
        assert decision.phase.value == "ramp"
        with sqlite3.connect(oven.ledger) as db:
            assert db.execute("SELECT count(*) FROM inbox").fetchone() == (0,)
        assert int(subscriptions.last["$SYS/broker/subscriptions/count"]) <= 2, "the two here"
        pest.close()
        subscriptions.close()


def test_a_hub_finds_it_only_where_that_is_wanted(tmp_path: Path, publish: Publish) -> None:
    with broker(tmp_path) as at:
        publish(at)
        listener = Listener(at.port)
        wait_for(lambda: AVAILABILITY in listener.last, 10, "it is there")
        assert not [t for t in listener.last if t.startswith("homeassistant")]
        publish(at, hub_discovery="homeassistant", topic="shed/one")
        place = "homeassistant/device/shed-one/config"
        wait_for(lambda: place in listener.last, 10, "it is described")
        told = listener.state(place)
        assert told["state_topic"] == "shed/one/state"
        assert {c["platform"] for c in told["components"].values()} == {"sensor", "binary_sensor"}
        assert not [k for k in json.dumps(told).split('"') if "command" in k]
        listener.close()


def test_a_topic_from_any_name() -> None:
    for name, topic in (("Estuary box", "estuary-box"), ("Ofen № 1/+#", "ofen-1"), ("炉", "oven")):
        settings = SETTINGS.model_copy(update={"name": name})
        mqtt = telling(Path("x"), mqtt={"host": "b"}).notifications.mqtt
        assert mqtt is not None
        assert own_topic(settings, mqtt) == f"nightcure/{topic}"


# ---- processes -----------------------------------------------------------------------------------


def test_a_killed_notifier_is_told_by_the_last_will_and_secrets_stay_secret(
    tmp_path: Path,
) -> None:
    with broker(tmp_path, password=("oven", SECRET)) as at:
        secrets = write_secrets(tmp_path / "s.toml", f'mqtt_password = "{SECRET}"\n')
        oven_file = tmp_path / "oven.toml"
        oven_file.write_text(
            f'{GOOD}\n[notifications]\nsecrets = "{secrets.name}"\n[notifications.mqtt]\n'
            f'host = "127.0.0.1"\nport = {at.port}\nusername = "oven"\nevery_s = 1\n'
        )
        ledger = tmp_path / "nightcure.ledger"
        stopping = threading.Event()
        with RecordedOven(ledger) as oven:
            oven.tick()

            def tick() -> None:
                while not stopping.is_set():
                    oven.tick()
                    stopping.wait(0.5)

            thread = threading.Thread(target=tick)
            thread.start()
            running = NotifierProcess(oven_file)
            listener = Listener(at.port, username="oven", password=SECRET)
            wait_for(lambda: listener.last.get(AVAILABILITY) == b"online", 20, "online")
            wait_for(lambda: listener.state(STATE).get("answers") is True, 20, "its state")
            ps = " ".join(psutil.Process(running.process.pid).cmdline())
            rss_mb = psutil.Process(running.process.pid).memory_info().rss / 1e6
            print(f"notifier with MQTT alone: {rss_mb:.0f} MB")
            running.process.send_signal(signal.SIGKILL)
            running.process.wait(10)
            took_s = wait_for(lambda: listener.last[AVAILABILITY] == b"offline", 30, "the will")
            print(f"the last will after {took_s:.2f} s")
            again = NotifierProcess(oven_file)
            wait_for(lambda: listener.last[AVAILABILITY] == b"online", 20, "online again")
            stopping.set()
            thread.join(10)
            # The controller is silent: the broker is told within half a minute.
            took_s = wait_for(lambda: listener.state(STATE).get("answers") is False, 40, "silent")
            print(f"the broker knew of the silence after {took_s:.1f} s")
            assert took_s <= 30.0
            again.stop()
            wait_for(lambda: listener.last[AVAILABILITY] == b"offline", 10, "a clean end")
            listener.close()
        assert SECRET not in ps
        for path in tmp_path.iterdir():
            if path != secrets and path.is_file() and path.name != "passwords":
                assert SECRET.encode() not in path.read_bytes(), path.name
