-- +goose Up
-- The notebook, version 2: logs of any length.

CREATE TABLE raw_block (               -- what follows raw_file.bytes in a long log
  sha256 TEXT NOT NULL REFERENCES raw_file(sha256) ON DELETE CASCADE,
  seq    INTEGER NOT NULL,
  bytes  BLOB NOT NULL,                -- by the codec of raw_file, on its own
  PRIMARY KEY (sha256, seq)
) STRICT;

CREATE TABLE trace_overview (          -- what a plot of a whole long chunk needs
  trace INTEGER NOT NULL,
  seq   INTEGER NOT NULL,
  bytes BLOB NOT NULL,                 -- encoded by package trace
  PRIMARY KEY (trace, seq),
  FOREIGN KEY (trace, seq) REFERENCES trace_chunk(trace, seq) ON DELETE CASCADE
) STRICT;

PRAGMA user_version = 2;
