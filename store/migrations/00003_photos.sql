-- +goose Up
-- Photos of cooks. The pictures are in raw_file, by their hash.
CREATE TABLE photo (
  cook       TEXT NOT NULL REFERENCES cook(id) ON DELETE CASCADE,
  seq        INTEGER NOT NULL,
  id         TEXT NOT NULL,            -- UUIDv7
  sha256     TEXT NOT NULL,            -- of the picture as kept
  type       TEXT NOT NULL,            -- image/jpeg, image/png
  width_px   INTEGER NOT NULL,
  height_px  INTEGER NOT NULL,
  caption    TEXT NOT NULL,
  alt        TEXT NOT NULL,            -- what it shows, for who does not see it
  taken_at   TEXT NOT NULL,            -- '' unknown
  added_at   TEXT NOT NULL,
  trashed_at TEXT NOT NULL,            -- '' not in the trash
  PRIMARY KEY (cook, seq)
) STRICT, WITHOUT ROWID;
CREATE UNIQUE INDEX photo_id ON photo(id) WHERE id <> '';
CREATE INDEX photo_picture ON photo(sha256);

PRAGMA user_version = 3;
