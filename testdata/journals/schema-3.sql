-- A journal as schema 3 left it, for the tests of an upgrade.
PRAGMA foreign_keys=OFF;
BEGIN TRANSACTION;
CREATE TABLE migrations (
  version INTEGER PRIMARY KEY -- of the schema
) STRICT;
INSERT INTO migrations VALUES(1);
INSERT INTO migrations VALUES(2);
INSERT INTO migrations VALUES(3);
CREATE TABLE figures (
  name  TEXT PRIMARY KEY,     -- pruned: the highest seq that retention has removed
  value INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO figures VALUES('pruned',0);
CREATE TABLE series (
  id       INTEGER PRIMARY KEY,
  tank     TEXT NOT NULL,
  probe    TEXT NOT NULL,
  quantity TEXT NOT NULL,     -- gravity, temperature, pressure
  UNIQUE (tank, probe, quantity)
) STRICT;
INSERT INTO series VALUES(1,'FV3','hyd-1','gravity');
INSERT INTO series VALUES(2,'FV3','head-3','pressure');
CREATE TABLE readings (
  seq     INTEGER PRIMARY KEY,
  series  INTEGER NOT NULL,   -- series.id
  time    INTEGER NOT NULL,   -- the probe's own, ms
  arrived INTEGER NOT NULL,   -- when spile heard it, ms
  value   REAL NOT NULL,      -- after corrections: SG 20/20, degC, or kPa gauge
  raw     REAL,               -- as sent, same unit; NULL: equal to value
  late    INTEGER NOT NULL    -- 1: its series had already said something newer
) STRICT;
INSERT INTO readings VALUES(2,1,1772413200000,1772413201000,1.0118000000000000326,NULL,0);
INSERT INTO readings VALUES(3,2,1772413200000,1772413201000,82.0,NULL,0);
INSERT INTO readings VALUES(5,1,1772414100000,1772414101000,1.0116000000000000547,1.0112000000000000987,0);
INSERT INTO readings VALUES(7,1,1772413500000,1772414200000,1.0117000000000000436,NULL,1);
CREATE TABLE events (
  seq      INTEGER PRIMARY KEY,
  identity TEXT NOT NULL UNIQUE, -- "id " and what the sender gave, or "sum " and SHA-256 of the content
  tank     TEXT NOT NULL,
  name     TEXT NOT NULL,     -- pitch, crash, dry-hop, ...
  time     INTEGER NOT NULL,  -- when it was done, ms
  arrived  INTEGER NOT NULL,  -- when spile heard it, ms
  body     TEXT NOT NULL      -- JSON: id, by, amounts (inside units), words
) STRICT;
INSERT INTO events VALUES(4,'id c1','FV3','crash',1772413300000,1772413301000,'{"id":"c1","by":"Ana","amounts":{"setpoint":14.4}}');
CREATE TABLE acts (
  seq      INTEGER PRIMARY KEY,
  arrived  INTEGER NOT NULL,  -- ms
  verb     TEXT NOT NULL,     -- acknowledge, shelve, unshelve
  incident TEXT NOT NULL,     -- transitions.incident
  by       TEXT NOT NULL,     -- who
  why      TEXT NOT NULL,
  until    INTEGER            -- end of a shelving, ms; NULL: none
) STRICT;
INSERT INTO acts VALUES(6,1772414110000,'acknowledge','abcdefghijklmnop','Ana','',NULL);
CREATE TABLE marks (
  seq     INTEGER PRIMARY KEY,
  arrived INTEGER NOT NULL,   -- ms
  name    TEXT NOT NULL,      -- started, link-lost, link-found
  detail  TEXT NOT NULL
) STRICT;
INSERT INTO marks VALUES(1,1772413100000,'started','');
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
, until INTEGER) STRICT;
INSERT INTO transitions VALUES(1,5,'abcdefghijklmnop','FV3','crash-drift','','high','normal','unacknowledged',1772414101000,1772414000000,'FV3: beer is warmer than its setpoint','{}','','',NULL);
INSERT INTO transitions VALUES(2,6,'abcdefghijklmnop','FV3','crash-drift','','high','unacknowledged','acknowledged',1772414110000,1772414000000,'FV3: beer is warmer than its setpoint','{}','Ana','',NULL);
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
INSERT INTO outbox VALUES(1,'msg_first','phone','abcdefghijklmnop',1772414101000,'{"id":"abcdefghijklmnop"}','delivered',1,NULL,'');
INSERT INTO outbox VALUES(2,'msg_second','office','abcdefghijklmnop',1772414101000,'{"id":"abcdefghijklmnop"}','pending',1,1772414131000,'503 Service Unavailable');
CREATE TABLE attempts (
  message TEXT NOT NULL,      -- outbox.id
  number  INTEGER NOT NULL,   -- from 1
  at      INTEGER NOT NULL,   -- ms
  result  TEXT NOT NULL CHECK (result IN ('delivered', 'retry', 'dead')),
  problem TEXT NOT NULL,
  PRIMARY KEY (message, number)
) STRICT, WITHOUT ROWID;
INSERT INTO attempts VALUES('msg_first',1,1772414102000,'delivered','');
INSERT INTO attempts VALUES('msg_second',1,1772414102000,'retry','503 Service Unavailable');
CREATE TABLE positions (
  name TEXT PRIMARY KEY,      -- judge, influx
  seq  INTEGER NOT NULL,      -- everything up to and including this is done
  at   INTEGER                -- the moment the judge has judged up to, ms; NULL for others
) STRICT, WITHOUT ROWID;
INSERT INTO positions VALUES('influx',5,NULL);
INSERT INTO positions VALUES('judge',7,1772414200000);
CREATE TABLE snapshots (
  seq     INTEGER PRIMARY KEY,
  at      INTEGER NOT NULL,   -- ms
  version INTEGER NOT NULL,   -- of the form of body
  sum     BLOB NOT NULL,      -- SHA-256 of body
  body    BLOB NOT NULL
) STRICT;
CREATE TABLE aside (
  name    TEXT NOT NULL,      -- positions.name
  seq     INTEGER NOT NULL,
  problem TEXT NOT NULL,
  PRIMARY KEY (name, seq)
) STRICT, WITHOUT ROWID;
CREATE TABLE means (
  series INTEGER NOT NULL,  -- series.id
  time   INTEGER NOT NULL,  -- where the hour begins, by the probe's own time, ms
  count  INTEGER NOT NULL,  -- readings in it
  mean   REAL NOT NULL,     -- of their values
  low    REAL NOT NULL,     -- the lowest of them
  high   REAL NOT NULL,     -- the highest
  PRIMARY KEY (series, time)
) STRICT, WITHOUT ROWID;
INSERT INTO means VALUES(1,1772409600000,60,1.0120000000000000106,1.0118000000000000326,1.0121999999999999886);
CREATE UNIQUE INDEX readings_of_series ON readings (series, time);
CREATE INDEX events_of_tank ON events (tank, time);
CREATE INDEX transitions_of_incident ON transitions (incident, id);
CREATE INDEX transitions_of_tank ON transitions (tank, time);
CREATE INDEX transitions_by_time ON transitions (time);
CREATE VIEW readings_in_words AS
SELECT r.seq, s.tank, s.probe, s.quantity,
       strftime('%Y-%m-%dT%H:%M:%fZ', r.time / 1000.0, 'unixepoch') AS time,
       strftime('%Y-%m-%dT%H:%M:%fZ', r.arrived / 1000.0, 'unixepoch') AS arrived,
       r.value, coalesce(r.raw, r.value) AS raw, r.late
FROM readings r JOIN series s ON s.id = r.series;
CREATE INDEX outbox_queues ON outbox (webhook, incident, place) WHERE state = 'pending';
CREATE VIEW means_in_words AS
SELECT s.tank, s.probe, s.quantity, strftime('%Y-%m-%dT%H:%MZ', m.time / 1000, 'unixepoch') AS hour, m.count, m.mean, m.low, m.high
FROM means m JOIN series s ON s.id = m.series;
COMMIT;
