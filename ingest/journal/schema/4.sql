-- The journal of spile, schema 4: what it adds to schema 3.

-- folds: ten minutes of a series in a row, so that a curve of weeks is drawn without reading every reading of it. They
-- follow from readings and hold nothing else: whenever readings of ten minutes come or go, their row is made anew. The
-- ten minutes of a series' newest reading have none.
CREATE TABLE folds (
  series INTEGER NOT NULL,  -- series.id
  time   INTEGER NOT NULL,  -- where the ten minutes begin, by the probe's own time, ms
  count  INTEGER NOT NULL,  -- readings in them
  mean   REAL NOT NULL,     -- of their values
  low    REAL NOT NULL,     -- the lowest of them
  high   REAL NOT NULL,     -- the highest
  PRIMARY KEY (series, time)
) STRICT, WITHOUT ROWID;

-- From where on a series is folded, ms; what is older is folded by and by.
ALTER TABLE series ADD COLUMN folded INTEGER NOT NULL DEFAULT 0;
UPDATE series SET folded = coalesce((SELECT max(time) FROM readings WHERE series = id) / 600000 * 600000, 0);
