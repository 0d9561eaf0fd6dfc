-- +goose Up
-- Who can log in. People themselves stand in person.
CREATE TABLE account (
    person      TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    conservator BOOLEAN NOT NULL,
    hash        TEXT COLLATE "C" NOT NULL,
    secret      TEXT NOT NULL,
    last_code   BIGINT NOT NULL,
    made        TIMESTAMPTZ NOT NULL,
    changed     TIMESTAMPTZ NOT NULL,
    ended       TIMESTAMPTZ
);

-- What is remembered of each login, by the SHA-256 of its cookie.
CREATE TABLE session (
    hash TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    data BYTEA NOT NULL,
    ends TIMESTAMPTZ NOT NULL
);
CREATE INDEX session_ends ON session (ends);

-- Programs with a token, by the SHA-256 of the token.
CREATE TABLE machine (
    hash   TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    name   TEXT COLLATE "C" NOT NULL,
    scopes TEXT NOT NULL,
    clocks TEXT NOT NULL,
    made   TIMESTAMPTZ NOT NULL,
    ends   TIMESTAMPTZ NOT NULL,
    ended  TIMESTAMPTZ,
    used   TIMESTAMPTZ
);
CREATE UNIQUE INDEX machine_name ON machine (name) WHERE ended IS NULL;

-- Pictures of entries, made small and bare when they were taken in.
CREATE TABLE picture (
    id     TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    clock  TEXT COLLATE "C" NOT NULL,
    entry  TEXT COLLATE "C" NOT NULL,
    at     TIMESTAMPTZ NOT NULL,
    words  TEXT NOT NULL,
    width  BIGINT NOT NULL,
    height BIGINT NOT NULL,
    jpeg   BYTEA NOT NULL,
    small  BYTEA NOT NULL
);
CREATE INDEX picture_entry ON picture (entry);
CREATE INDEX picture_clock ON picture (clock, at);
