-- From schema 1 to 2.

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
