-- +goose Up
-- How a person wants their mail, as schedule writes it in JSON.
ALTER TABLE person ADD COLUMN wishes TEXT NOT NULL DEFAULT '{}';

-- What whoever holds a token may do, by the SHA-256 of the token.
CREATE TABLE pass (
    hash    TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    deed    TEXT NOT NULL,
    notice  TEXT COLLATE "C" NOT NULL,
    person  TEXT COLLATE "C" NOT NULL,
    clock   TEXT NOT NULL,
    task    TEXT NOT NULL,
    subject TEXT NOT NULL,
    kind    TEXT COLLATE "C" NOT NULL,
    made    TIMESTAMPTZ NOT NULL,
    ends    TIMESTAMPTZ,
    ended   TIMESTAMPTZ
);
CREATE INDEX pass_person ON pass (person, deed);

-- Kinds of mail that a person declined by a letter's own link.
CREATE TABLE decline (
    person TEXT COLLATE "C" NOT NULL,
    kind   TEXT COLLATE "C" NOT NULL,
    at     TIMESTAMPTZ NOT NULL,
    PRIMARY KEY (person, kind)
);

-- Addresses as mail servers see them.
CREATE TABLE mailbox (
    address    TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    refusals   BIGINT NOT NULL,
    stopped_at TIMESTAMPTZ,
    why        TEXT NOT NULL
);

-- What became of each notice, step by step.
CREATE TABLE notice_event (
    notice TEXT COLLATE "C" NOT NULL REFERENCES notice (id) ON DELETE CASCADE,
    n      BIGINT NOT NULL,
    at     TIMESTAMPTZ NOT NULL,
    what   TEXT NOT NULL,
    words  TEXT NOT NULL,
    PRIMARY KEY (notice, n)
);

-- Messages that came in.
CREATE TABLE inward (
    id        TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    mark      TEXT COLLATE "C" NOT NULL UNIQUE CHECK (mark <> ''),
    at        TIMESTAMPTZ NOT NULL,
    mail_from TEXT NOT NULL,
    rcpt_to   TEXT NOT NULL,
    title     TEXT NOT NULL,
    raw       BYTEA NOT NULL,
    state     TEXT NOT NULL CHECK (state IN ('taken', 'logged', 'held', 'passed by', 'bounced', 'closed')),
    why       TEXT NOT NULL,
    person    TEXT COLLATE "C" NOT NULL,
    clock     TEXT NOT NULL,
    notice    TEXT COLLATE "C" NOT NULL,
    entry     TEXT NOT NULL,
    settled   TIMESTAMPTZ
);
CREATE INDEX inward_state ON inward (state, at);

-- A claim walks the notices that are due in their order.
DROP INDEX notice_next;
CREATE INDEX notice_next ON notice (state, next_try, id);
