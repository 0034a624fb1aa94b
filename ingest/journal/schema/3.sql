-- The journal of spile, schema 3: what it adds to schema 2.

-- means: what retention leaves of readings, an hour of a series in a row.
CREATE TABLE means (
  series INTEGER NOT NULL,  -- series.id
  time   INTEGER NOT NULL,  -- where the hour begins, by the probe's own time, ms
  count  INTEGER NOT NULL,  -- readings in it
  mean   REAL NOT NULL,     -- of their values
  low    REAL NOT NULL,     -- the lowest of them
  high   REAL NOT NULL,     -- the highest
  PRIMARY KEY (series, time)
) STRICT, WITHOUT ROWID;

-- figures gets another name, thinned: the seq through which retention has looked.

-- For people with a sqlite3 at hand: means in words, times in UTC.
CREATE VIEW means_in_words AS
SELECT s.tank, s.probe, s.quantity, strftime('%Y-%m-%dT%H:%MZ', m.time / 1000, 'unixepoch') AS hour, m.count, m.mean, m.low, m.high
FROM means m JOIN series s ON s.id = m.series;
