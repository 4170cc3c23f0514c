"""Threads of a real controller that hang at a word, for as long as a file with their name is there.

Loop, reader and dead-man hang at their next sleep, the recorder at its next write, the signals'
thread at the next signal; with `library` the loop hangs in SQLite's code, where Python does not get
a word in. The patch is put where every Python of the controller reads it at its start.
"""

from __future__ import annotations

#: For a `sitecustomize.py`; STALLS stands for the folder of the files.
PATCH = """
import sys
if "controller" in sys.orig_argv:
    import sqlite3, threading, time
    from pathlib import Path
    import nightcure.clock, nightcure.daemon.daemon as daemon, nightcure.record.recorder as recorder
    ENDLESS = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT max(i) FROM n"
    def there(name):
        return Path("STALLS/stall-" + name).exists()
    def hold(name):
        while there(name):
            time.sleep(0.2)
    def sleep(duration_s):
        name = threading.current_thread().name
        hold(name)
        if name == "MainThread" and there("library"):
            sqlite3.connect(":memory:").execute(ENDLESS).fetchall()
        time.sleep(duration_s)
    nightcure.clock.MachineClock.sleep = staticmethod(sleep)
    write, told = recorder.Recorder._write, daemon.Daemon._on_signal
    recorder.Recorder._write = lambda self, batch: (hold("recorder"), write(self, batch))[1]
    daemon.Daemon._on_signal = lambda self, number: (hold("signals"), told(self, number))[1]
"""
