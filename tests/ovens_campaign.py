"""Many ovens at one broker and one collector: `python -m tests.ovens_campaign [OVENS] [MINUTES]`.

Simulated ovens, each with loop, ledger, notifier and its own connection, run in step through
MINUTES of their time, as fast as this machine goes: telemetry every 10 s of theirs, one trips, some
finish. One listener counts what comes: lost, doubled, out of order. Then Debian's Prometheus
collects from all of them, with the rules and the console of this repository; and a night of one
oven's measurements is made into a block, to know what is stored.
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections import Counter
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import psutil

from nightcure.ledger.outbox import outbox_path, read_outbox
from nightcure.ledger.reader import LedgerReader
from nightcure.notifier.notifier import Notifier
from nightcure.notifier.secrets_file import Secrets
from nightcure.settings import Settings
from nightcure_web.openmetrics import MEDIA_TYPE, exposition
from tests.nights import PROFILE, SETTINGS, SHORT
from tests.notifier.broker import Broker, Listener
from tests.notifier.services import free_port
from tests.recording import EVENING_S, RecordedOven
from tests.workshop import wait_for

MONITORING = Path(__file__).parents[1] / "systemd" / "monitoring"
#: Telemetry, s of the ovens' time.
EVERY_S = 10.0


def settings_of(folder: Path, number: int, port: int) -> Settings:
    told = {"mqtt": {"host": "127.0.0.1", "port": port, "every_s": 600.0}}
    data = {**SETTINGS.model_dump(mode="json"), "notifications": told, "name": f"Oven {number:02}"}
    (folder / f"{number:02}").mkdir()
    return Settings.model_validate({**data, "ledger": folder / f"{number:02}" / "n.ledger"})


class Shop:
    """All ovens, and the broker they tell."""

    def __init__(self, folder: Path, count: int) -> None:
        self.broker = Broker(folder)
        self.broker.up()
        self.listener = Listener(self.broker.port)
        self.settings = [settings_of(folder, i, self.broker.port) for i in range(count)]
        self.ovens = [
            RecordedOven(
                s.ledger, s, seed=i, faults=["sensor-missing@20min"] if i == count - 1 else ()
            )
            for i, s in enumerate(self.settings)
        ]
        for oven in self.ovens:
            oven.tick()
        self.notifiers = [Notifier(s, Secrets()) for s in self.settings]
        for one in self.notifiers:
            for service in one.services:
                service.start()
            assert one._publisher is not None
            one._publisher.start()
        wait_for(lambda: all(n._publisher.client.is_connected() for n in self.notifiers), 60, "all")  # type: ignore[union-attr]
        self.published = 0

    def hour(self, minutes: float) -> None:
        """In step, through so much of the ovens' time."""
        tick_s = SETTINGS.timing.tick_s
        for oven in self.ovens:
            oven.t_s = 0.0
        for i, oven in enumerate(self.ovens):
            oven.run(0.0, profile=SHORT if i % 5 else PROFILE)
        while self.ovens[0].t_s < 60.0 * minutes:
            for oven in self.ovens:
                oven.tick()
            if self.ovens[0].t_s % EVERY_S < tick_s:
                self.tell()

    def tell(self) -> None:
        """Every notifier looks once and publishes its state."""
        for oven, one in zip(self.ovens, self.notifiers, strict=True):
            oven.recorder.wait_below(1, 5.0)
            one.look(time.monotonic(), time.time())
            publisher = one._publisher
            assert publisher is not None
            publisher._told = None
            publisher._news.set()
            self.published += 1

    def close(self) -> None:
        for one in self.notifiers:
            one._stop()
        for oven in self.ovens:
            oven.close()
        self.listener.close()
        self.broker.kill()


def at_the_broker(shop: Shop, minutes: float) -> None:
    """What was lost, and what it cost."""
    assert shop.broker.process is not None
    broker = psutil.Process(shop.broker.process.pid)
    before, began_s = sum(broker.cpu_times()[:2]), time.monotonic()
    shop.hour(minutes)
    waiting = lambda: sum(  # noqa: E731
        s.waiting
        for o in shop.settings
        for s in read_outbox(outbox_path(o.ledger), 4e9).services  # type: ignore[union-attr]
    )
    wait_for(lambda: waiting() == 0, 60, "every message is taken")
    time.sleep(2.0)
    took_s, cpu_s = time.monotonic() - began_s, sum(broker.cpu_times()[:2]) - before
    came = Counter(topic.rpartition("/")[2] for topic, _, _ in shop.listener.came)
    told = [
        (topic, json.loads(payload)["id"])
        for topic, payload, _ in shop.listener.came
        if topic.endswith("/message")
    ]
    put = sum(len(read_outbox(outbox_path(s.ledger), 4e9, 500).messages) for s in shop.settings)  # type: ignore[union-attr]
    by_oven: dict[str, list[int]] = {}
    for topic, number in told:
        by_oven.setdefault(topic, []).append(number)
    lost = put - len(set(told))
    ordered = all(numbers == sorted(numbers) for numbers in by_oven.values())
    everything = sum(came.values())
    size = sum(len(p) for t, p, _ in shop.listener.came if t.endswith("/state"))
    print(f"{len(shop.ovens)} ovens, {minutes:g} min of their time in {took_s:.0f} s")
    print(f"messages put {put}, came {len(told)}, lost {lost}, in order: {ordered}")
    print(f"doubles: {len(told) - len(set(told))}")
    print(f"states wanted {shop.published}, came {came['state']}")
    print(f"bytes a state {size / max(came['state'], 1):.0f}")
    print(f"broker: {everything / took_s:.0f} messages/s, {1e6 * cpu_s / everything:.0f} us of one")
    print(f"  core each, {broker.memory_info().rss / 1e6:.1f} MB")


class Quiet(ThreadingHTTPServer):
    """Says nothing of one who hangs up."""

    def handle_error(self, *_: Any) -> None: ...


class Pages:
    """/metrics of every oven on a port of its own, as its page's server answers."""

    def __init__(self, settings: list[Settings]) -> None:
        self.servers = [self._server(s) for s in settings]
        self.ports = [s.server_address[1] for s in self.servers]
        self.asked = 0

    def _server(self, settings: Settings) -> ThreadingHTTPServer:
        pages, reader = self, LedgerReader(settings.ledger)

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                live = {**(reader.live() or {}), "host_s": time.time()}
                outbox = read_outbox(outbox_path(settings.ledger), time.time())
                if outbox is not None:  # these notifiers look no more
                    outbox = outbox._replace(alive_s=time.time())
                body = exposition(settings.name, live, outbox).encode()
                pages.asked += 1
                self.send_response(200)
                self.send_header("Content-Type", MEDIA_TYPE)
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_: Any) -> None: ...

        server = Quiet(("127.0.0.1", 0), Handler)
        server.daemon_threads = True
        threading.Thread(target=server.serve_forever, args=(0.2,), daemon=True).start()
        return server


def at_the_collector(folder: Path, settings: list[Settings], seconds: float = 90.0) -> None:
    """Prometheus with our rules and console, every five seconds in place of fifteen."""
    pages, port = Pages(settings), free_port()
    targets = [f"127.0.0.1:{p}" for p in pages.ports]
    for name in ("nightcure.rules.yml", "nightcure.html"):
        shutil.copy(MONITORING / name, folder)
    (folder / "prometheus.yml").write_text(
        "global: {scrape_interval: 5s, scrape_timeout: 5s, evaluation_interval: 5s}\n"
        "rule_files: [nightcure.rules.yml]\nscrape_configs:\n  - job_name: nightcure\n"
        f"    static_configs: [{{targets: {json.dumps(targets)}}}]\n"
    )
    with open(folder / "prometheus.log", "w") as log:
        process = subprocess.Popen(
            ["prometheus", f"--config.file={folder / 'prometheus.yml'}",
             f"--storage.tsdb.path={folder / 'data'}", f"--web.console.templates={folder}",
             f"--web.listen-address=127.0.0.1:{port}"],
            stdout=log, stderr=log,
        )  # fmt: skip
    address = f"http://127.0.0.1:{port}"

    def query(said: str) -> Any:
        from urllib.parse import quote

        with urllib.request.urlopen(f"{address}/api/v1/query?query={quote(said)}", timeout=10) as a:
            return json.load(a)["data"]["result"]

    try:
        wait_for(lambda: _ready(address), 60, "Prometheus is ready")
        time.sleep(seconds)
        watched = psutil.Process(process.pid)
        cpu = sum(watched.cpu_times()[:2])
        wait_for(lambda: query('ALERTS{alertname="OvenTripped",alertstate="firing"}'), 60, "alert")
        alerts = {(r["metric"]["alertname"], r["metric"].get("oven")) for r in query("ALERTS")}
        up = query("sum(up)")[0]["value"][1]
        samples = query("sum(scrape_samples_scraped)")[0]["value"][1]
        missed = query("sum(count_over_time(up[10m]) - sum_over_time(up[10m]))")[0]["value"][1]
        with urllib.request.urlopen(f"{address}/consoles/nightcure.html", timeout=20) as answer:
            page = answer.read().decode()
        print(f"collector: {up} of {len(targets)} up, {pages.asked} scrapes, {missed} missed")
        print(f"  {samples} samples a round, {cpu:.1f} s of one core in {seconds:g}")
        print(f"  {watched.memory_info().rss / 1e6:.0f} MB; alerts {sorted(alerts)}")
        rows = re.findall(r"<tr>\s*<td><a [^>]*>(Oven \d+)</a>", page)
        print(f"  console: {len(rows)} ovens, first {rows[0]}")
        assert len(rows) == len(targets)
        assert ("OvenTripped", settings[-1].name) in alerts
    finally:
        process.terminate()
        process.wait(20)


def _ready(address: str) -> bool:
    try:
        with urllib.request.urlopen(f"{address}/-/ready", timeout=2) as answer:
            return bool(answer.status == 200)
    except OSError:
        return False


def stored(folder: Path) -> None:
    """A night of one oven as a block: bytes a sample."""
    text: dict[str, list[str]] = {}
    kinds: dict[str, str] = {}
    samples = 0
    settings = SETTINGS.model_copy(update={"ledger": folder / "night.ledger"})
    with RecordedOven(settings.ledger, settings) as oven:
        from tests.nights import start

        oven.tick(start(PROFILE))
        reader = LedgerReader(settings.ledger)
        while oven.t_s < 12 * 3600.0:
            for _ in range(8):  # 16 s
                oven.tick()
            oven.recorder.wait_below(1, 5.0)
            live = {**(reader.live() or {}), "host_s": EVENING_S + oven.t_s}
            for line in exposition("Oven", live, None).splitlines():
                if line.startswith("# TYPE"):
                    kinds[line.split()[2]] = line
                elif not line.startswith("#"):
                    name = re.split(r"[{ ]", line)[0]
                    at = max((k for k in kinds if name.startswith(k)), key=len)
                    text.setdefault(at, []).append(f"{line} {EVENING_S + oven.t_s:.0f}")
                    samples += 1
    whole = folder / "night.om"
    with open(whole, "w") as file:
        for family, lines in text.items():
            file.write("\n".join([kinds[family], *sorted(lines, key=_series_then_time)]) + "\n")
        file.write("# EOF\n")
    subprocess.run(
        ["promtool", "tsdb", "create-blocks-from", "openmetrics", str(whole), str(folder / "blk")],
        check=True, capture_output=True, timeout=300,
    )  # fmt: skip
    size = sum(p.stat().st_size for p in (folder / "blk").rglob("*") if p.is_file())
    print(f"stored: {samples} samples of a night are {size} bytes, {size / samples:.2f} each")
    series, rounds_a_year = samples / (oven.t_s / 16.0), 365 * 86400.0 / 15.0
    year_mb = series * rounds_a_year * size / samples / 1e6
    print(f"  {series:.0f} series; a year at 15 s: {year_mb:.0f} MB an oven")


def _series_then_time(line: str) -> tuple[str, float]:
    series, _, at = line.rpartition(" ")
    return series.rpartition(" ")[0], float(at)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    minutes = float(sys.argv[2]) if len(sys.argv) > 2 else 60.0
    shm = "/dev/shm" if Path("/dev/shm").is_dir() else None
    with tempfile.TemporaryDirectory(dir=shm) as name:
        folder = Path(name)
        shop = Shop(folder, count)
        at_the_broker(shop, minutes)
        at_the_collector(folder, shop.settings)
        shop.close()
        stored(folder)


if __name__ == "__main__":
    main()
