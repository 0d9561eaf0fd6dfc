-- +goose Up
-- Keys of other letters that a notice makes needless, because it says the same.
CREATE TABLE covered (
    key    TEXT NOT NULL,
    notice TEXT NOT NULL REFERENCES notice (id) ON DELETE CASCADE,
    PRIMARY KEY (key, notice)
) STRICT;
