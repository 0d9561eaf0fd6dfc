-- +goose Up
-- Who can log in. People themselves stand in person.
CREATE TABLE account (
    person      TEXT NOT NULL PRIMARY KEY,
    conservator INTEGER NOT NULL,
    hash        TEXT NOT NULL,
    secret      TEXT NOT NULL,
    last_code   INTEGER NOT NULL,
    made        TEXT NOT NULL,
    changed     TEXT NOT NULL,
    ended       TEXT
) STRICT;

-- What is remembered of each login, by the SHA-256 of its cookie.
CREATE TABLE session (
    hash TEXT NOT NULL PRIMARY KEY,
    data BLOB NOT NULL,
    ends TEXT NOT NULL
) STRICT;
CREATE INDEX session_ends ON session (ends);

-- Programs with a token, by the SHA-256 of the token.
CREATE TABLE machine (
    hash   TEXT NOT NULL PRIMARY KEY,
    name   TEXT NOT NULL,
    scopes TEXT NOT NULL,
    clocks TEXT NOT NULL,
    made   TEXT NOT NULL,
    ends   TEXT NOT NULL,
    ended  TEXT,
    used   TEXT
) STRICT;
CREATE UNIQUE INDEX machine_name ON machine (name) WHERE ended IS NULL;

-- Pictures of entries, made small and bare when they were taken in.
CREATE TABLE picture (
    id     TEXT NOT NULL PRIMARY KEY,
    clock  TEXT NOT NULL,
    entry  TEXT NOT NULL,
    at     TEXT NOT NULL,
    words  TEXT NOT NULL,
    width  INTEGER NOT NULL,
    height INTEGER NOT NULL,
    jpeg   BLOB NOT NULL,
    small  BLOB NOT NULL
) STRICT;
CREATE INDEX picture_entry ON picture (entry);
CREATE INDEX picture_clock ON picture (clock, at);
