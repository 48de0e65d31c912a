-- +goose Up
-- The notebook, version 1. Times named _us are microseconds; other times are
-- RFC 3339 text with offset. Every row of a cook hangs on cook(id).

CREATE TABLE study (
  id       TEXT PRIMARY KEY,
  title    TEXT NOT NULL,
  document BLOB NOT NULL,              -- study.yaml, byte for byte
  parsed   BLOB NOT NULL,              -- the parsed document, JSON
  shape    TEXT NOT NULL,              -- what fields "parsed" was written with
  created  TEXT NOT NULL,
  updated  TEXT NOT NULL,
  revision INTEGER NOT NULL            -- counts the changes
) STRICT;

CREATE TABLE cook_file (               -- cook files the document names
  study TEXT NOT NULL REFERENCES study(id) ON DELETE CASCADE,
  path  TEXT NOT NULL,
  bytes BLOB NOT NULL,
  PRIMARY KEY (study, path)
) STRICT, WITHOUT ROWID;

CREATE TABLE seal (
  study     TEXT PRIMARY KEY REFERENCES study(id),
  hash      TEXT NOT NULL,
  canonical BLOB NOT NULL,             -- RFC 8785 JSON of what was sealed
  at        TEXT NOT NULL
) STRICT;

CREATE TABLE cook (
  id        TEXT PRIMARY KEY,          -- UUIDv7
  study     TEXT NOT NULL REFERENCES study(id),
  seq       INTEGER NOT NULL,          -- order of arrival in the study
  label     TEXT NOT NULL,
  block     TEXT NOT NULL,
  piece     TEXT NOT NULL,
  treatment TEXT NOT NULL,
  role      TEXT NOT NULL,
  run_order INTEGER NOT NULL,          -- from 1; 0 unknown
  day       TEXT NOT NULL,
  zero_us   INTEGER NOT NULL,          -- heat on, on the clock of the traces
  zero_set  INTEGER NOT NULL CHECK (zero_set IN (0, 1)),
  void_rule TEXT NOT NULL,
  void_why  TEXT NOT NULL,
  voided_at TEXT NOT NULL,
  line      INTEGER NOT NULL,          -- line of the document; 0 none
  UNIQUE (study, seq)
) STRICT;
CREATE UNIQUE INDEX cook_label ON cook(study, label) WHERE label <> '';

CREATE TABLE mark (
  cook   TEXT NOT NULL REFERENCES cook(id) ON DELETE CASCADE,
  seq    INTEGER NOT NULL,
  id     TEXT NOT NULL,                -- UUIDv7, '' none
  kind   TEXT NOT NULL,
  at_us  INTEGER NOT NULL,             -- from heat on
  note   TEXT NOT NULL,
  source TEXT NOT NULL,                -- typed, detected
  PRIMARY KEY (cook, seq)
) STRICT, WITHOUT ROWID;
CREATE UNIQUE INDEX mark_id ON mark(id) WHERE id <> '';

CREATE TABLE weighing (
  cook   TEXT NOT NULL REFERENCES cook(id) ON DELETE CASCADE,
  seq    INTEGER NOT NULL,
  id     TEXT NOT NULL,
  stage  TEXT NOT NULL,
  mass_g REAL NOT NULL,
  at_us  INTEGER NOT NULL,
  has_at INTEGER NOT NULL CHECK (has_at IN (0, 1)),
  res_g  REAL NOT NULL,                -- resolution of the scale; 0 unknown
  note   TEXT NOT NULL,
  PRIMARY KEY (cook, seq)
) STRICT, WITHOUT ROWID;
CREATE UNIQUE INDEX weighing_id ON weighing(id) WHERE id <> '';

CREATE TABLE reading (
  cook     TEXT NOT NULL REFERENCES cook(id) ON DELETE CASCADE,
  seq      INTEGER NOT NULL,
  id       TEXT NOT NULL,
  response TEXT NOT NULL,
  kind     TEXT NOT NULL,
  unit     TEXT NOT NULL,
  vals     TEXT NOT NULL CHECK (json_valid(vals)),   -- array of numbers
  grades   TEXT NOT NULL CHECK (json_valid(grades)), -- array of texts, or null
  std_u    REAL NOT NULL,
  by       TEXT NOT NULL,              -- pseudonym
  blind    INTEGER NOT NULL CHECK (blind IN (0, 1)),
  PRIMARY KEY (cook, seq)
) STRICT, WITHOUT ROWID;
CREATE UNIQUE INDEX reading_id ON reading(id) WHERE id <> '';

CREATE TABLE deviation (
  cook  TEXT NOT NULL REFERENCES cook(id) ON DELETE CASCADE,
  seq   INTEGER NOT NULL,
  at_us INTEGER NOT NULL,
  what  TEXT NOT NULL,
  why   TEXT NOT NULL,
  PRIMARY KEY (cook, seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE log_ref (
  cook   TEXT NOT NULL REFERENCES cook(id) ON DELETE CASCADE,
  seq    INTEGER NOT NULL,
  file   TEXT NOT NULL,
  map    TEXT NOT NULL,
  sha256 TEXT NOT NULL,
  PRIMARY KEY (cook, seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE raw_file (                -- logs exactly as they came
  sha256 TEXT PRIMARY KEY,
  name   TEXT NOT NULL,
  size   INTEGER NOT NULL,             -- of the log, bytes
  codec  TEXT NOT NULL CHECK (codec IN ('none', 'zstd')),
  bytes  BLOB NOT NULL
) STRICT;

CREATE TABLE study_raw (               -- which studies a log belongs to
  study  TEXT NOT NULL REFERENCES study(id) ON DELETE CASCADE,
  seq    INTEGER NOT NULL,
  sha256 TEXT NOT NULL REFERENCES raw_file(sha256),
  PRIMARY KEY (study, sha256)
) STRICT, WITHOUT ROWID;

CREATE TABLE trace (                   -- one channel's samples in one cook
  id       INTEGER PRIMARY KEY,
  cook     TEXT NOT NULL REFERENCES cook(id) ON DELETE CASCADE,
  seq      INTEGER NOT NULL,
  channel  TEXT NOT NULL,              -- id of the channel
  source   TEXT NOT NULL,              -- SHA-256 of the log; '' none
  samples  INTEGER NOT NULL,
  UNIQUE (cook, seq)
) STRICT;

CREATE TABLE trace_chunk (             -- runs of samples, never changed
  trace     INTEGER NOT NULL REFERENCES trace(id) ON DELETE CASCADE,
  seq       INTEGER NOT NULL,
  samples   INTEGER NOT NULL,
  first_us  INTEGER NOT NULL,
  last_us   INTEGER NOT NULL,
  min_count INTEGER,                   -- smallest count; NULL when all are missing
  max_count INTEGER,
  bytes     BLOB NOT NULL,             -- encoded by package trace
  PRIMARY KEY (trace, seq)
) STRICT;

CREATE TABLE live_channel (            -- channels of a running cook
  id   INTEGER PRIMARY KEY,
  cook TEXT NOT NULL REFERENCES cook(id) ON DELETE CASCADE,
  seq  INTEGER NOT NULL,
  head TEXT NOT NULL CHECK (json_valid(head)), -- channel, clock, quantum, source
  UNIQUE (cook, head)
) STRICT;

CREATE TABLE live_sample (             -- samples not yet made into chunks
  channel INTEGER NOT NULL REFERENCES live_channel(id) ON DELETE CASCADE,
  at_us   INTEGER NOT NULL,
  count   INTEGER,                     -- NULL: missing
  PRIMARY KEY (channel, at_us)
) STRICT, WITHOUT ROWID;

CREATE TABLE response (                -- computed values, kept to answer fast
  cook       TEXT NOT NULL REFERENCES cook(id) ON DELETE CASCADE,
  response   TEXT NOT NULL,
  input_hash TEXT NOT NULL,            -- of everything it was computed from
  body       BLOB NOT NULL,            -- JSON
  PRIMARY KEY (cook, response)
) STRICT, WITHOUT ROWID;

CREATE TABLE finding (                 -- answers given, newest last
  study      TEXT NOT NULL REFERENCES study(id),
  seq        INTEGER NOT NULL,
  at         TEXT NOT NULL,
  input_hash TEXT NOT NULL,
  body       BLOB NOT NULL,            -- findings.json
  PRIMARY KEY (study, seq)
) STRICT, WITHOUT ROWID;

CREATE TABLE tasting_session (
  id         TEXT PRIMARY KEY,         -- random
  study      TEXT NOT NULL REFERENCES study(id),
  tasting    TEXT NOT NULL,            -- id in the document
  state      TEXT NOT NULL CHECK (state IN ('open', 'closed')),
  commitment TEXT NOT NULL,            -- SHA-256(salt ‖ key), hex
  locked_key BLOB NOT NULL,            -- encrypted to the lead's passphrase
  body       BLOB NOT NULL,            -- JSON: what may be in view
  revealed   BLOB NOT NULL             -- JSON: seed, salt, key; empty while open
) STRICT;

CREATE TABLE ballot (
  id       TEXT PRIMARY KEY,           -- random
  session  TEXT NOT NULL REFERENCES tasting_session(id),
  assessor TEXT NOT NULL,              -- pseudonym
  body     BLOB NOT NULL
) STRICT, WITHOUT ROWID; -- a rowid would tell who answered when
CREATE INDEX ballot_session ON ballot(session);

CREATE TABLE event (                   -- the history; append-only
  study  TEXT NOT NULL REFERENCES study(id),
  seq    INTEGER NOT NULL,
  at     TEXT NOT NULL,
  kind   TEXT NOT NULL,
  what   TEXT NOT NULL,
  detail TEXT NOT NULL,
  hash   TEXT NOT NULL,                -- SHA-256(previous hash ‖ this entry)
  PRIMARY KEY (study, seq)
) STRICT, WITHOUT ROWID;

-- +goose StatementBegin
CREATE TRIGGER event_is_never_changed BEFORE UPDATE ON event
BEGIN SELECT RAISE(ABORT, 'the history is never changed'); END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER event_is_never_removed BEFORE DELETE ON event
BEGIN SELECT RAISE(ABORT, 'the history is never removed'); END;
-- +goose StatementEnd

-- REPLACE would delete without firing the trigger above unless
-- recursive_triggers is on, so an entry is also refused when its place is taken.
-- +goose StatementBegin
CREATE TRIGGER event_is_appended BEFORE INSERT ON event
WHEN NEW.seq <> 1 + (SELECT coalesce(max(seq), 0) FROM event WHERE study = NEW.study)
BEGIN SELECT RAISE(ABORT, 'the history is only appended to'); END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER seal_is_never_changed BEFORE UPDATE ON seal
BEGIN SELECT RAISE(ABORT, 'a seal is never changed'); END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER seal_is_never_removed BEFORE DELETE ON seal
BEGIN SELECT RAISE(ABORT, 'a seal is never removed'); END;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE TRIGGER seal_is_set_once BEFORE INSERT ON seal
WHEN EXISTS (SELECT 1 FROM seal WHERE study = NEW.study)
BEGIN SELECT RAISE(ABORT, 'a seal is set once'); END;
-- +goose StatementEnd

PRAGMA application_id = 1414682196;
PRAGMA user_version = 1;
