-- The ledger, version 1; what came later is in version2.sql and
-- version3.sql. Times are milliseconds since 1970 UTC unless a column
-- says otherwise. History is only ever added to; advice, covers and zones hold
-- the last of each.

CREATE TABLE meta (
  key   TEXT PRIMARY KEY,
  value INTEGER NOT NULL
) WITHOUT ROWID;
INSERT INTO meta (key, value) VALUES ('epoch', 0), ('probe', 0);

-- What a ledger that could not be written tries to write: as much as a busy
-- commit, or a disk with room for a few bytes would pass for writable.
CREATE TABLE room (
  filler BLOB NOT NULL
);
INSERT INTO room (filler) VALUES (zeroblob(0));

-- Every advice issued, as it stands now. Live ones are needed after a restart.
CREATE TABLE advice (
  site        TEXT    NOT NULL,
  zone        TEXT    NOT NULL,
  id          TEXT    NOT NULL,
  sequence    INTEGER NOT NULL,           -- order of issue within the zone
  state       TEXT    NOT NULL,           -- of the approval, empty for an inspect
  digest      TEXT    NOT NULL,
  issued_at   INTEGER NOT NULL,
  valid_until INTEGER NOT NULL,
  live        INTEGER NOT NULL,
  taken       TEXT    NOT NULL,           -- hashes of the decisions taken on it, by spaces
  body        BLOB    NOT NULL,           -- JSON as published
  UNIQUE (site, zone, id)
);
CREATE INDEX advice_live ON advice (site, zone, sequence) WHERE live = 1;
CREATE INDEX advice_issued ON advice (site, zone, issued_at);

-- Every move of every approval.
CREATE TABLE moves (
  site   TEXT    NOT NULL,
  zone   TEXT    NOT NULL,
  advice TEXT    NOT NULL,
  digest TEXT    NOT NULL,
  "from" TEXT    NOT NULL,
  "to"   TEXT    NOT NULL,
  at     INTEGER NOT NULL,
  by     TEXT    NOT NULL,
  note   TEXT    NOT NULL,
  under  TEXT    NOT NULL,
  epoch  INTEGER NOT NULL                 -- which start of the daemon wrote it
);
CREATE INDEX moves_at ON moves (site, zone, at);

-- Every decision of somebody who may decide, with its answer.
CREATE TABLE decisions (
  site     TEXT    NOT NULL,
  zone     TEXT    NOT NULL,
  advice   TEXT    NOT NULL,
  at       INTEGER NOT NULL,
  result   TEXT    NOT NULL,
  code     TEXT    NOT NULL,              -- of a refusal
  hash     TEXT    NOT NULL,
  signed   INTEGER NOT NULL,
  body     BLOB    NOT NULL,              -- JSON: {"decision":{...},"result":{...}}
  epoch    INTEGER NOT NULL
);
CREATE INDEX decisions_at ON decisions (site, zone, at);

-- Standing approvals, by the advice that they were given with.
CREATE TABLE covers (
  site   TEXT    NOT NULL,
  zone   TEXT    NOT NULL,
  advice TEXT    NOT NULL,
  live   INTEGER NOT NULL,
  body   BLOB    NOT NULL,                -- JSON
  PRIMARY KEY (site, zone, advice)
) WITHOUT ROWID;

-- What people did.
CREATE TABLE events (
  site TEXT    NOT NULL,
  zone TEXT    NOT NULL,
  at   INTEGER NOT NULL,
  kind TEXT    NOT NULL,
  body BLOB    NOT NULL                   -- JSON as accepted
);
CREATE INDEX events_at ON events (site, zone, at);

-- What a zone needs to go on.
CREATE TABLE zones (
  site     TEXT    NOT NULL,
  zone     TEXT    NOT NULL,
  version  INTEGER NOT NULL,              -- of the snapshot's layout
  at       INTEGER NOT NULL,
  snapshot BLOB    NOT NULL,
  UNIQUE (site, zone)
);

-- The past of each zone for reports. The hour leads the key, so that all zones
-- write into the same few pages and old hours are dropped as one range.
CREATE TABLE zone_keys (
  key  INTEGER PRIMARY KEY,
  site TEXT NOT NULL,
  zone TEXT NOT NULL,
  UNIQUE (site, zone)
);
CREATE TABLE points (
  hour                INTEGER NOT NULL,   -- hours since 1970
  zone                INTEGER NOT NULL,   -- zone_keys.key
  second              INTEGER NOT NULL,   -- within the hour
  water_content       INTEGER NOT NULL,   -- 0.0001 m3/m3
  full_point          INTEGER NOT NULL,   -- 0.0001 m3/m3
  refill_point        INTEGER NOT NULL,   -- 0.0001 m3/m3
  air_filled_porosity INTEGER NOT NULL,   -- 0.0001 m3/m3
  saturation_s        INTEGER NOT NULL,   -- s since the point before
  irrigation_ml       INTEGER NOT NULL,   -- mL per container since the point before
  drain_ml            INTEGER NOT NULL,   -- mL per container since the point before
  uptake_ml           INTEGER NOT NULL,   -- mL per container since the point before
  pore_ec             INTEGER,            -- 0.01 mS/cm
  temperature         INTEGER,            -- 0.1 Cel
  PRIMARY KEY (hour, zone, second)
) WITHOUT ROWID;
