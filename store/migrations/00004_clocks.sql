-- +goose Up
-- Corrections of the clocks of a cook's logs and marks. A row is never
-- removed: undone_at tells that it does not stand any more.
CREATE TABLE clock_fix (
  cook        TEXT NOT NULL REFERENCES cook(id) ON DELETE CASCADE,
  seq         INTEGER NOT NULL,
  id          TEXT NOT NULL,           -- UUIDv7
  clock       TEXT NOT NULL,           -- SHA-256 of a log, or "marks"
  to_clock    TEXT NOT NULL,           -- likewise; '' the cook's own
  anchor_us   INTEGER NOT NULL,        -- t becomes t + offset + (t - anchor) * rate
  offset_us   INTEGER NOT NULL,
  rate        REAL NOT NULL,
  elapsed     INTEGER NOT NULL CHECK (elapsed IN (0, 1)),
  method      TEXT NOT NULL,           -- marks, turns, signal, set
  points      INTEGER NOT NULL,
  rms_us      REAL NOT NULL,           -- residual
  worst_us    INTEGER NOT NULL,
  mid_us      INTEGER NOT NULL,        -- where the offset is known best
  offset_u_us REAL NOT NULL,           -- standard uncertainties
  rate_u      REAL NOT NULL,
  note        TEXT NOT NULL,
  by          TEXT NOT NULL,
  at          TEXT NOT NULL,
  undone_by   TEXT NOT NULL,
  undone_at   TEXT NOT NULL,           -- '' it stands
  PRIMARY KEY (cook, seq)
) STRICT, WITHOUT ROWID;

PRAGMA user_version = 4;
