-- The ledger: one SQLite file, WAL. The controller writes it; the page reads it and writes `inbox`.
-- Times: wall_s is UTC seconds as the oven counts them (the demo's clock may run fast);
-- mono_s is the controller's monotonic clock; host_s is the machine's own UTC clock.
-- Temperatures in deg C.

CREATE TABLE meta (
    key   TEXT PRIMARY KEY,
    value TEXT NOT NULL
) WITHOUT ROWID;

-- One row per night: from start to cool. `outcome` is NULL while it runs.
CREATE TABLE nights (
    id         INTEGER PRIMARY KEY,
    label      TEXT NOT NULL DEFAULT '',
    oven       TEXT NOT NULL,
    profile    TEXT NOT NULL,                 -- JSON, as the API gives it
    settings   TEXT NOT NULL,                 -- JSON, as the controller used them
    version    TEXT NOT NULL,                 -- of nightcure
    opening    TEXT NOT NULL,                 -- JSON: the loop's snapshot before the first tick
    started_s  REAL NOT NULL,                 -- wall
    ended_s    REAL,                          -- wall
    outcome    TEXT CHECK (outcome IN ('done', 'stopped', 'tripped', 'lost')),
    reason     TEXT
);

-- Every tick's inputs and decision while a night runs.
CREATE TABLE ticks (
    night_id   INTEGER NOT NULL REFERENCES nights (id),
    seq        INTEGER NOT NULL,              -- 0, 1, 2 ... within the night
    mono_s     REAL NOT NULL,
    wall_s     REAL NOT NULL,
    inputs     TEXT NOT NULL,                 -- JSON: [[value_c, taken_s, fault|null] ...], rest
    heater     INTEGER NOT NULL,
    contactor  INTEGER NOT NULL,
    phase      TEXT NOT NULL,
    segment    INTEGER,
    setpoint_c REAL,
    control_c  REAL,
    duty       REAL NOT NULL,
    believed   TEXT NOT NULL,                 -- JSON: [value_c|null ...] in thermometer order
    decision   TEXT NOT NULL,                 -- JSON: what else was decided
    PRIMARY KEY (night_id, seq)
) WITHOUT ROWID;

-- What happened, in words. Never thinned, never lost.
CREATE TABLE events (
    id       INTEGER PRIMARY KEY AUTOINCREMENT,
    night_id INTEGER REFERENCES nights (id),
    seq      INTEGER,                         -- the tick it belongs to
    mono_s   REAL NOT NULL,
    wall_s   REAL NOT NULL,
    kind     TEXT NOT NULL,                   -- 'night', 'phase', 'alarm', 'trip', 'command', 'note'
    name     TEXT NOT NULL,                   -- e.g. the interlock's or the phase's name
    state    TEXT,                            -- alarms: their state after the event
    message  TEXT NOT NULL                    -- one sentence
);
CREATE INDEX events_by_night ON events (night_id, id);

-- Commands from the page. Each is taken once; one that has expired is refused, never run late.
CREATE TABLE inbox (
    id        INTEGER PRIMARY KEY AUTOINCREMENT,
    word      TEXT NOT NULL,
    args      TEXT NOT NULL DEFAULT '{}',     -- JSON
    who       TEXT NOT NULL,
    asked_s   REAL NOT NULL,                  -- host_s
    expires_s REAL NOT NULL,                  -- host_s
    taken_s   REAL,                           -- host_s
    outcome   TEXT CHECK (outcome IN ('done', 'refused', 'expired')),
    message   TEXT
);
CREATE INDEX inbox_waiting ON inbox (id) WHERE taken_s IS NULL;

-- What is true now: one row, replaced every tick.
CREATE TABLE live (
    id     INTEGER PRIMARY KEY CHECK (id = 1),
    host_s REAL NOT NULL,                     -- when it was written, by the machine's own clock
    state  TEXT NOT NULL                      -- JSON
);

-- From which a controller takes a night up again after a crash or a power cut: one row.
CREATE TABLE snapshot (
    id       INTEGER PRIMARY KEY CHECK (id = 1),
    night_id INTEGER REFERENCES nights (id),
    seq      INTEGER NOT NULL,
    mono_s   REAL NOT NULL,
    wall_s   REAL NOT NULL,
    state    TEXT NOT NULL                    -- JSON
);

-- Profiles a person saved; the page writes them.
CREATE TABLE profiles (
    name    TEXT PRIMARY KEY,
    profile TEXT NOT NULL,                    -- JSON, as the API gives it
    who     TEXT NOT NULL,
    saved_s REAL NOT NULL                     -- host_s
) WITHOUT ROWID;

-- What a person confirmed once for this oven, such as the cautions; the page writes them.
CREATE TABLE accepted (
    what   TEXT PRIMARY KEY,
    who    TEXT NOT NULL,
    host_s REAL NOT NULL
) WITHOUT ROWID;

-- Checks of a thermometer at the ice point or against a reference. The latest of a sensor gives
-- its offset, from the controller's next idle moment on; the controller writes them.
CREATE TABLE checks (
    id          INTEGER PRIMARY KEY AUTOINCREMENT,
    sensor_id   TEXT NOT NULL,                -- 1-Wire id
    method      TEXT NOT NULL CHECK (method IN ('ice-point', 'reference', 'typed')),
    shown_c     REAL,                         -- what it said without an offset
    reference_c REAL,                         -- what was true
    offset_c    REAL NOT NULL,                -- added to every reading from now on
    who         TEXT NOT NULL,
    wall_s      REAL NOT NULL
);
CREATE INDEX checks_by_sensor ON checks (sensor_id, id);

-- What a person noted about a night: mould and part number, resin batch, catalyst weighed ...
CREATE TABLE notes (
    night_id INTEGER NOT NULL REFERENCES nights (id) ON DELETE CASCADE,
    field    TEXT NOT NULL,
    value    TEXT NOT NULL,
    who      TEXT NOT NULL,
    host_s   REAL NOT NULL,
    PRIMARY KEY (night_id, field)
) WITHOUT ROWID;

-- The oven as refitted from a night's record.
CREATE TABLE refits (
    night_id INTEGER PRIMARY KEY REFERENCES nights (id) ON DELETE CASCADE,
    fitted_s REAL NOT NULL,                   -- host_s
    version  TEXT NOT NULL,                   -- of nightcure
    found    TEXT NOT NULL                    -- JSON, as `nightcure survey --json` gives it
);
