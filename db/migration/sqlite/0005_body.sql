-- +goose Up
-- The messages of notices, apart, so that what changes with each try to send is
-- short. One whose letter could not be written, or that is old, has none.
CREATE TABLE notice_body (
    notice TEXT NOT NULL PRIMARY KEY REFERENCES notice (id) ON DELETE CASCADE,
    raw    BLOB NOT NULL
) STRICT;
INSERT INTO notice_body (notice, raw) SELECT id, raw FROM notice WHERE length(raw) > 0;
ALTER TABLE notice DROP COLUMN raw;

-- Keys of other letters that a notice makes needless, because it says the same.
CREATE TABLE covered (
    key    TEXT NOT NULL,
    notice TEXT NOT NULL REFERENCES notice (id) ON DELETE CASCADE,
    PRIMARY KEY (key, notice)
) STRICT;
