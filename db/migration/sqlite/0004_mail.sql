-- +goose Up
-- How a person wants their mail, as schedule writes it in JSON.
ALTER TABLE person ADD COLUMN wishes TEXT NOT NULL DEFAULT '{}';

-- What whoever holds a token may do, by the SHA-256 of the token.
CREATE TABLE pass (
    hash    TEXT NOT NULL PRIMARY KEY,
    deed    TEXT NOT NULL,
    notice  TEXT NOT NULL,
    person  TEXT NOT NULL,
    clock   TEXT NOT NULL,
    task    TEXT NOT NULL,
    subject TEXT NOT NULL,
    kind    TEXT NOT NULL,
    made    TEXT NOT NULL,
    ends    TEXT,
    ended   TEXT
) STRICT;
CREATE INDEX pass_person ON pass (person, deed);

-- Kinds of mail that a person declined by a letter's own link.
CREATE TABLE decline (
    person TEXT NOT NULL,
    kind   TEXT NOT NULL,
    at     TEXT NOT NULL,
    PRIMARY KEY (person, kind)
) STRICT;

-- Addresses as mail servers see them.
CREATE TABLE mailbox (
    address    TEXT NOT NULL PRIMARY KEY,
    refusals   INTEGER NOT NULL,
    stopped_at TEXT,
    why        TEXT NOT NULL
) STRICT;

-- What became of each notice, step by step.
CREATE TABLE notice_event (
    notice TEXT NOT NULL REFERENCES notice (id) ON DELETE CASCADE,
    n      INTEGER NOT NULL,
    at     TEXT NOT NULL,
    what   TEXT NOT NULL,
    words  TEXT NOT NULL,
    PRIMARY KEY (notice, n)
) STRICT;

-- Messages that came in.
CREATE TABLE inward (
    id        TEXT NOT NULL PRIMARY KEY,
    mark      TEXT NOT NULL UNIQUE CHECK (mark <> ''),
    at        TEXT NOT NULL,
    mail_from TEXT NOT NULL,
    rcpt_to   TEXT NOT NULL,
    title     TEXT NOT NULL,
    raw       BLOB NOT NULL,
    state     TEXT NOT NULL CHECK (state IN ('taken', 'logged', 'held', 'passed by', 'bounced', 'closed')),
    why       TEXT NOT NULL,
    person    TEXT NOT NULL,
    clock     TEXT NOT NULL,
    notice    TEXT NOT NULL,
    entry     TEXT NOT NULL,
    settled   TEXT
) STRICT;
CREATE INDEX inward_state ON inward (state, at);

-- A claim walks the notices that are due in their order.
DROP INDEX notice_next;
CREATE INDEX notice_next ON notice (state, next_try, id);
