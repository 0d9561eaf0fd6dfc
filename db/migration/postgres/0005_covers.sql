-- +goose Up
-- Keys of other letters that a notice makes needless, because it says the same.
CREATE TABLE covered (
    key    TEXT COLLATE "C" NOT NULL,
    notice TEXT COLLATE "C" NOT NULL REFERENCES notice (id) ON DELETE CASCADE,
    PRIMARY KEY (key, notice)
);
