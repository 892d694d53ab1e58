-- Version 2: a zone's past as its picture needs it. Points of before have no
-- interval and no probes.
ALTER TABLE points ADD COLUMN deviation INTEGER;  -- of the water content, 0.0001 m3/m3
ALTER TABLE points ADD COLUMN probe_set INTEGER;  -- probe_sets.key
ALTER TABLE points ADD COLUMN probes BLOB;        -- what they read, see probes.go

-- Which probes a zone has: their ids in order, by spaces. Most zones of a site
-- share a few.
CREATE TABLE probe_sets (
  key INTEGER PRIMARY KEY,
  ids TEXT NOT NULL UNIQUE
);

-- What was forecast of each zone, kept as long as the points and dropped with
-- them.
CREATE TABLE forecasts (
  hour   INTEGER NOT NULL,                -- of its issue, hours since 1970
  zone   INTEGER NOT NULL,                -- zone_keys.key
  second INTEGER NOT NULL,                -- within the hour
  step_s INTEGER NOT NULL,
  plan   BLOB    NOT NULL,                -- under the standing advice, see courses.go
  usual  BLOB    NOT NULL,                -- watered as on its last days, empty where there was none
  PRIMARY KEY (hour, zone, second)
) WITHOUT ROWID;
