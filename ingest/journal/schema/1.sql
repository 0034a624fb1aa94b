-- The journal of spile, schema 1.
--
-- Every time is whole milliseconds since 1970-01-01T00:00:00Z.
-- seq counts entries of all kinds in one sequence: readings, events, acts, marks.

-- migrations: which schemas were laid down here, and so what to expect below.
CREATE TABLE migrations (
  version INTEGER PRIMARY KEY -- of the schema
) STRICT;

-- figures: single numbers that the journal keeps of itself.
CREATE TABLE figures (
  name  TEXT PRIMARY KEY,     -- pruned: the highest seq that retention has removed
  value INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- series: what one probe says of one quantity in one tank.
CREATE TABLE series (
  id       INTEGER PRIMARY KEY,
  tank     TEXT NOT NULL,
  probe    TEXT NOT NULL,
  quantity TEXT NOT NULL,     -- gravity, temperature, pressure
  UNIQUE (tank, probe, quantity)
) STRICT;

-- readings: one value of one series at one time. No foreign key: it would cost a
-- look-up a row, and the one writer makes a series before its first reading.
CREATE TABLE readings (
  seq     INTEGER PRIMARY KEY,
  series  INTEGER NOT NULL,   -- series.id
  time    INTEGER NOT NULL,   -- the probe's own, ms
  arrived INTEGER NOT NULL,   -- when spile heard it, ms
  value   REAL NOT NULL,      -- after corrections: SG 20/20, degC, or kPa gauge
  raw     REAL,               -- as sent, same unit; NULL: equal to value
  late    INTEGER NOT NULL    -- 1: its series had already said something newer
) STRICT;

CREATE UNIQUE INDEX readings_of_series ON readings (series, time);

-- events: the cellar log, what people did to a tank.
CREATE TABLE events (
  seq      INTEGER PRIMARY KEY,
  identity TEXT NOT NULL UNIQUE, -- "id " and what the sender gave, or "sum " and SHA-256 of the content
  tank     TEXT NOT NULL,
  name     TEXT NOT NULL,     -- pitch, crash, dry-hop, ...
  time     INTEGER NOT NULL,  -- when it was done, ms
  arrived  INTEGER NOT NULL,  -- when spile heard it, ms
  body     TEXT NOT NULL      -- JSON: id, by, amounts (inside units), words
) STRICT;

CREATE INDEX events_of_tank ON events (tank, time);

-- acts: what a person did to an alarm.
CREATE TABLE acts (
  seq      INTEGER PRIMARY KEY,
  arrived  INTEGER NOT NULL,  -- ms
  verb     TEXT NOT NULL,     -- acknowledge, shelve, unshelve
  incident TEXT NOT NULL,     -- transitions.incident
  by       TEXT NOT NULL,     -- who
  why      TEXT NOT NULL,
  until    INTEGER            -- end of a shelving, ms; NULL: none
) STRICT;

-- marks: what happened to spile itself.
CREATE TABLE marks (
  seq     INTEGER PRIMARY KEY,
  arrived INTEGER NOT NULL,   -- ms
  name    TEXT NOT NULL,      -- started, link-lost, link-found
  detail  TEXT NOT NULL
) STRICT;

-- transitions: the steps of incidents, in the order the judge made them.
CREATE TABLE transitions (
  id         INTEGER PRIMARY KEY,
  judged     INTEGER NOT NULL, -- seq the judge had read through
  incident   TEXT NOT NULL,    -- the same in all steps of an alarm, from raised to normal
  tank       TEXT NOT NULL,
  alarm      TEXT NOT NULL,
  probe      TEXT NOT NULL,    -- empty: it is not about one
  priority   TEXT NOT NULL,    -- critical, high, medium, low
  from_state TEXT NOT NULL,    -- in the words of ANSI/ISA-18.2
  to_state   TEXT NOT NULL,
  time       INTEGER NOT NULL, -- arrival of what caused it, ms
  onset      INTEGER,          -- in the probes' own time, ms; NULL: not known
  summary    TEXT NOT NULL,
  evidence   TEXT,             -- JSON; NULL: none
  by         TEXT NOT NULL,    -- who, where a person did it
  why        TEXT NOT NULL
) STRICT;

CREATE INDEX transitions_of_incident ON transitions (incident, id);
CREATE INDEX transitions_of_tank ON transitions (tank, time);
CREATE INDEX transitions_by_time ON transitions (time);

-- outbox: what webhooks have been, or are still to be, told.
CREATE TABLE outbox (
  place    INTEGER PRIMARY KEY, -- order of telling
  id       TEXT NOT NULL UNIQUE, -- the header webhook-id, the same over retries
  webhook  TEXT NOT NULL,     -- its name in the config
  incident TEXT NOT NULL,     -- transitions.incident
  created  INTEGER NOT NULL,  -- ms
  body     TEXT NOT NULL,     -- JSON, the alarm object
  state    TEXT NOT NULL CHECK (state IN ('pending', 'delivered', 'dead')),
  attempts INTEGER NOT NULL,  -- how often it was tried
  next     INTEGER,           -- not to be tried before, ms; NULL: at once
  problem  TEXT NOT NULL      -- what came back last
) STRICT;

CREATE INDEX outbox_pending ON outbox (webhook, place) WHERE state = 'pending';

-- attempts: each try to deliver a row of the outbox.
CREATE TABLE attempts (
  message TEXT NOT NULL,      -- outbox.id
  number  INTEGER NOT NULL,   -- from 1
  at      INTEGER NOT NULL,   -- ms
  result  TEXT NOT NULL CHECK (result IN ('delivered', 'retry', 'dead')),
  problem TEXT NOT NULL,
  PRIMARY KEY (message, number)
) STRICT, WITHOUT ROWID;

-- positions: how far each reader of the journal has come.
CREATE TABLE positions (
  name TEXT PRIMARY KEY,      -- judge, influx
  seq  INTEGER NOT NULL,      -- everything up to and including this is done
  at   INTEGER                -- the moment the judge has judged up to, ms; NULL for others
) STRICT, WITHOUT ROWID;

-- snapshots: the judge's state after an entry; only the newest is kept.
CREATE TABLE snapshots (
  seq     INTEGER PRIMARY KEY,
  at      INTEGER NOT NULL,   -- ms
  version INTEGER NOT NULL,   -- of the form of body
  sum     BLOB NOT NULL,      -- SHA-256 of body
  body    BLOB NOT NULL
) STRICT;

-- aside: entries that a reader could not use and went past.
CREATE TABLE aside (
  name    TEXT NOT NULL,      -- positions.name
  seq     INTEGER NOT NULL,
  problem TEXT NOT NULL,
  PRIMARY KEY (name, seq)
) STRICT, WITHOUT ROWID;

-- For people with a sqlite3 at hand: readings in words, times in UTC.
CREATE VIEW readings_in_words AS
SELECT r.seq, s.tank, s.probe, s.quantity,
       strftime('%Y-%m-%dT%H:%M:%fZ', r.time / 1000.0, 'unixepoch') AS time,
       strftime('%Y-%m-%dT%H:%M:%fZ', r.arrived / 1000.0, 'unixepoch') AS arrived,
       r.value, coalesce(r.raw, r.value) AS raw, r.late
FROM readings r JOIN series s ON s.id = r.series;
