-- +goose Up
-- The fleet: what there is. Replaced clock by clock; every change leaves an audit row.
CREATE TABLE site (
    slug    TEXT NOT NULL PRIMARY KEY,
    ord     INTEGER NOT NULL,
    name    TEXT NOT NULL,
    zone    TEXT NOT NULL,
    place   TEXT NOT NULL,
    access  TEXT NOT NULL,
    caution TEXT NOT NULL
) STRICT;

CREATE TABLE person (
    slug  TEXT NOT NULL PRIMARY KEY,
    ord   INTEGER NOT NULL,
    name  TEXT NOT NULL,
    email TEXT NOT NULL,
    zone  TEXT NOT NULL,
    units TEXT NOT NULL
) STRICT;

CREATE TABLE clock (
    slug     TEXT NOT NULL PRIMARY KEY,
    ord      INTEGER NOT NULL,
    name     TEXT NOT NULL,
    kind     TEXT NOT NULL,
    site     TEXT NOT NULL REFERENCES site (slug),
    in_care  TEXT NOT NULL,
    note     TEXT NOT NULL,
    cautions TEXT NOT NULL
) STRICT;

CREATE TABLE duty (
    clock  TEXT NOT NULL REFERENCES clock (slug),
    ord    INTEGER NOT NULL,
    person TEXT NOT NULL REFERENCES person (slug),
    role   TEXT NOT NULL,
    PRIMARY KEY (clock, ord)
) STRICT;

CREATE TABLE train (
    clock           TEXT NOT NULL REFERENCES clock (slug),
    ord             INTEGER NOT NULL,
    code            TEXT NOT NULL,
    name            TEXT NOT NULL,
    kind            TEXT NOT NULL,
    drive           TEXT NOT NULL,
    reserve_ns      INTEGER NOT NULL,
    strokes_per_day REAL NOT NULL,
    PRIMARY KEY (clock, ord),
    UNIQUE (clock, code)
) STRICT;

CREATE TABLE arbor (
    clock     TEXT NOT NULL,
    train_ord INTEGER NOT NULL,
    ord       INTEGER NOT NULL,
    code      TEXT NOT NULL,
    name      TEXT NOT NULL,
    revs      REAL NOT NULL,
    PRIMARY KEY (clock, train_ord, ord),
    FOREIGN KEY (clock, train_ord) REFERENCES train (clock, ord)
) STRICT;

-- Lengths are whole micrometres, the load is in newtons.
CREATE TABLE bearing (
    clock        TEXT NOT NULL,
    train_ord    INTEGER NOT NULL,
    arbor_ord    INTEGER NOT NULL,
    ord          INTEGER NOT NULL,
    code         TEXT NOT NULL,
    name         TEXT NOT NULL,
    form         TEXT NOT NULL,
    shake        TEXT NOT NULL,
    pair         TEXT NOT NULL,
    surroundings TEXT NOT NULL,
    load_n       REAL NOT NULL,
    outer_um     INTEGER NOT NULL,
    inner_um     INTEGER NOT NULL,
    bore_um      INTEGER NOT NULL,
    pivot_um     INTEGER NOT NULL,
    long_um      INTEGER NOT NULL,
    fitted_at    TEXT,
    fitted_um    INTEGER NOT NULL,
    fitted_sd_um INTEGER NOT NULL,
    watch_um     INTEGER,
    watch_source TEXT,
    act_um       INTEGER,
    act_source   TEXT,
    PRIMARY KEY (clock, train_ord, arbor_ord, ord),
    UNIQUE (clock, code),
    FOREIGN KEY (clock, train_ord, arbor_ord) REFERENCES arbor (clock, train_ord, ord)
) STRICT;

CREATE TABLE policy (
    clock     TEXT NOT NULL REFERENCES clock (slug),
    ord       INTEGER NOT NULL,
    task      TEXT NOT NULL,
    train     TEXT NOT NULL,
    bearing   TEXT NOT NULL,
    days      INTEGER NOT NULL,
    run_hours REAL NOT NULL,
    lead      INTEGER NOT NULL,
    grace     INTEGER NOT NULL,
    reason    TEXT NOT NULL,
    source    TEXT NOT NULL,
    PRIMARY KEY (clock, ord)
) STRICT;

-- The log: what happened. Only ever added to.
CREATE TABLE entry (
    id          TEXT NOT NULL PRIMARY KEY,
    clock       TEXT NOT NULL REFERENCES clock (slug),
    kind        TEXT NOT NULL,
    at          TEXT NOT NULL,
    train       TEXT NOT NULL,
    bearing     TEXT NOT NULL,
    person      TEXT NOT NULL,
    note        TEXT NOT NULL,
    detail      TEXT NOT NULL,
    replaces    TEXT,
    why         TEXT NOT NULL,
    recorded_at TEXT NOT NULL,
    source      TEXT NOT NULL,
    key         TEXT NOT NULL,
    UNIQUE (clock, id),
    FOREIGN KEY (clock, replaces) REFERENCES entry (clock, id)
) STRICT;
CREATE UNIQUE INDEX entry_key ON entry (key) WHERE key <> '';
CREATE UNIQUE INDEX entry_replaces ON entry (replaces) WHERE replaces IS NOT NULL;

CREATE TABLE reading (
    entry_id   TEXT NOT NULL PRIMARY KEY REFERENCES entry (id),
    clock      TEXT NOT NULL REFERENCES clock (slug),
    bearing    TEXT NOT NULL,
    shake      TEXT NOT NULL,
    value_um   INTEGER NOT NULL,
    gauge_um   INTEGER NOT NULL,
    instrument TEXT NOT NULL,
    celsius    REAL,
    load       TEXT NOT NULL
) STRICT;

-- Who changed what. Numbered in the order of commit, see revision.
CREATE TABLE audit (
    id      INTEGER NOT NULL PRIMARY KEY,
    at      TEXT NOT NULL,
    actor   TEXT NOT NULL,
    action  TEXT NOT NULL,
    subject TEXT NOT NULL,
    detail  TEXT NOT NULL
) STRICT;

-- The last audit number. Its row lock makes writers commit one after another,
-- so that whoever has seen number n has seen all up to n.
CREATE TABLE revision (
    one INTEGER NOT NULL PRIMARY KEY CHECK (one = 1),
    n   INTEGER NOT NULL
) STRICT;
INSERT INTO revision (one, n) VALUES (1, 0);

-- Each occurrence of a job, claimed once.
CREATE TABLE job_run (
    job         TEXT NOT NULL,
    occurrence  TEXT NOT NULL,
    state       TEXT NOT NULL CHECK (state IN ('running', 'done', 'merged')),
    attempt     INTEGER NOT NULL,
    owner       TEXT NOT NULL,
    lease_until TEXT,
    done_at     TEXT,
    note        TEXT NOT NULL,
    PRIMARY KEY (job, occurrence)
) STRICT;

-- The outbox: mail that is owed.
CREATE TABLE notice (
    id          TEXT NOT NULL PRIMARY KEY,
    key         TEXT NOT NULL UNIQUE CHECK (key <> ''),
    kind        TEXT NOT NULL,
    person      TEXT NOT NULL,
    clock       TEXT NOT NULL,
    subject     TEXT NOT NULL,
    occurrence  TEXT NOT NULL,
    from_addr   TEXT NOT NULL,
    to_addr     TEXT NOT NULL,
    message_id  TEXT NOT NULL,
    title       TEXT NOT NULL,
    raw         BLOB NOT NULL,
    state       TEXT NOT NULL CHECK (state IN ('owed', 'sending', 'sent', 'refused', 'parked')),
    attempts    INTEGER NOT NULL,
    uncertain   INTEGER NOT NULL,
    created     TEXT NOT NULL,
    first_try   TEXT,
    next_try    TEXT NOT NULL,
    sent_at     TEXT,
    reply       TEXT NOT NULL,
    owner       TEXT NOT NULL,
    lease_until TEXT,
    handed_at   TEXT
) STRICT;
CREATE INDEX notice_next ON notice (state, next_try);

-- The log and the audit are only ever added to.
-- +goose StatementBegin
CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry
BEGIN
    SELECT RAISE(ABORT, 'the log is never changed: log a correction that names the entry it replaces');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry
BEGIN
    SELECT RAISE(ABORT, 'the log is never changed: log a correction that names the entry it replaces');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER reading_no_update BEFORE UPDATE ON reading
BEGIN
    SELECT RAISE(ABORT, 'the log is never changed: log a correction that names the entry it replaces');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER reading_no_delete BEFORE DELETE ON reading
BEGIN
    SELECT RAISE(ABORT, 'the log is never changed: log a correction that names the entry it replaces');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER audit_no_update BEFORE UPDATE ON audit
BEGIN
    SELECT RAISE(ABORT, 'the audit is never changed');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER audit_no_delete BEFORE DELETE ON audit
BEGIN
    SELECT RAISE(ABORT, 'the audit is never changed');
END;
-- +goose StatementEnd
