-- +goose Up
-- The fleet: what there is. Replaced clock by clock; every change leaves an audit row.
CREATE TABLE site (
    slug    TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    ord     BIGINT NOT NULL,
    name    TEXT NOT NULL,
    zone    TEXT NOT NULL,
    place   TEXT NOT NULL,
    access  TEXT NOT NULL,
    caution TEXT NOT NULL
);

CREATE TABLE person (
    slug  TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    ord   BIGINT NOT NULL,
    name  TEXT NOT NULL,
    email TEXT NOT NULL,
    zone  TEXT NOT NULL,
    units TEXT NOT NULL
);

CREATE TABLE clock (
    slug     TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    ord      BIGINT NOT NULL,
    name     TEXT NOT NULL,
    kind     TEXT NOT NULL,
    site     TEXT COLLATE "C" NOT NULL REFERENCES site (slug),
    in_care  TEXT NOT NULL,
    note     TEXT NOT NULL,
    cautions TEXT NOT NULL
);

CREATE TABLE duty (
    clock  TEXT COLLATE "C" NOT NULL REFERENCES clock (slug),
    ord    BIGINT NOT NULL,
    person TEXT COLLATE "C" NOT NULL REFERENCES person (slug),
    role   TEXT NOT NULL,
    PRIMARY KEY (clock, ord)
);

CREATE TABLE train (
    clock           TEXT COLLATE "C" NOT NULL REFERENCES clock (slug),
    ord             BIGINT NOT NULL,
    code            TEXT COLLATE "C" NOT NULL,
    name            TEXT NOT NULL,
    kind            TEXT NOT NULL,
    drive           TEXT NOT NULL,
    reserve_ns      BIGINT NOT NULL,
    strokes_per_day DOUBLE PRECISION NOT NULL,
    PRIMARY KEY (clock, ord),
    UNIQUE (clock, code)
);

CREATE TABLE arbor (
    clock     TEXT COLLATE "C" NOT NULL,
    train_ord BIGINT NOT NULL,
    ord       BIGINT NOT NULL,
    code      TEXT COLLATE "C" NOT NULL,
    name      TEXT NOT NULL,
    revs      DOUBLE PRECISION NOT NULL,
    PRIMARY KEY (clock, train_ord, ord),
    FOREIGN KEY (clock, train_ord) REFERENCES train (clock, ord)
);

-- Lengths are whole micrometres, the load is in newtons.
CREATE TABLE bearing (
    clock        TEXT COLLATE "C" NOT NULL,
    train_ord    BIGINT NOT NULL,
    arbor_ord    BIGINT NOT NULL,
    ord          BIGINT NOT NULL,
    code         TEXT COLLATE "C" NOT NULL,
    name         TEXT NOT NULL,
    form         TEXT NOT NULL,
    shake        TEXT NOT NULL,
    pair         TEXT NOT NULL,
    surroundings TEXT NOT NULL,
    load_n       DOUBLE PRECISION NOT NULL,
    outer_um     BIGINT NOT NULL,
    inner_um     BIGINT NOT NULL,
    bore_um      BIGINT NOT NULL,
    pivot_um     BIGINT NOT NULL,
    long_um      BIGINT NOT NULL,
    fitted_at    TIMESTAMPTZ,
    fitted_um    BIGINT NOT NULL,
    fitted_sd_um BIGINT NOT NULL,
    watch_um     BIGINT,
    watch_source TEXT,
    act_um       BIGINT,
    act_source   TEXT,
    PRIMARY KEY (clock, train_ord, arbor_ord, ord),
    UNIQUE (clock, code),
    FOREIGN KEY (clock, train_ord, arbor_ord) REFERENCES arbor (clock, train_ord, ord)
);

CREATE TABLE policy (
    clock     TEXT COLLATE "C" NOT NULL REFERENCES clock (slug),
    ord       BIGINT NOT NULL,
    task      TEXT NOT NULL,
    train     TEXT NOT NULL,
    bearing   TEXT NOT NULL,
    days      BIGINT NOT NULL,
    run_hours DOUBLE PRECISION NOT NULL,
    lead      BIGINT NOT NULL,
    grace     BIGINT NOT NULL,
    reason    TEXT NOT NULL,
    source    TEXT NOT NULL,
    PRIMARY KEY (clock, ord)
);

-- The log: what happened. Only ever added to.
CREATE TABLE entry (
    id          TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    clock       TEXT COLLATE "C" NOT NULL REFERENCES clock (slug),
    kind        TEXT NOT NULL,
    at          TIMESTAMPTZ NOT NULL,
    train       TEXT NOT NULL,
    bearing     TEXT NOT NULL,
    person      TEXT NOT NULL,
    note        TEXT NOT NULL,
    detail      TEXT NOT NULL,
    replaces    TEXT COLLATE "C",
    why         TEXT NOT NULL,
    recorded_at TIMESTAMPTZ NOT NULL,
    source      TEXT NOT NULL,
    key         TEXT COLLATE "C" NOT NULL,
    UNIQUE (clock, id),
    FOREIGN KEY (clock, replaces) REFERENCES entry (clock, id)
);
CREATE UNIQUE INDEX entry_key ON entry (key) WHERE key <> '';
CREATE UNIQUE INDEX entry_replaces ON entry (replaces) WHERE replaces IS NOT NULL;

CREATE TABLE reading (
    entry_id   TEXT COLLATE "C" NOT NULL PRIMARY KEY REFERENCES entry (id),
    clock      TEXT COLLATE "C" NOT NULL REFERENCES clock (slug),
    bearing    TEXT NOT NULL,
    shake      TEXT NOT NULL,
    value_um   BIGINT NOT NULL,
    gauge_um   BIGINT NOT NULL,
    instrument TEXT NOT NULL,
    celsius    DOUBLE PRECISION,
    load       TEXT NOT NULL
);

-- Who changed what. Numbered in the order of commit, see revision.
CREATE TABLE audit (
    id      BIGINT NOT NULL PRIMARY KEY,
    at      TIMESTAMPTZ NOT NULL,
    actor   TEXT NOT NULL,
    action  TEXT NOT NULL,
    subject TEXT NOT NULL,
    detail  TEXT NOT NULL
);

-- The last audit number. Its row lock makes writers commit one after another,
-- so that whoever has seen number n has seen all up to n.
CREATE TABLE revision (
    one BIGINT NOT NULL PRIMARY KEY CHECK (one = 1),
    n   BIGINT NOT NULL
);
INSERT INTO revision (one, n) VALUES (1, 0);

-- Each occurrence of a job, claimed once.
CREATE TABLE job_run (
    job         TEXT COLLATE "C" NOT NULL,
    occurrence  TEXT COLLATE "C" NOT NULL,
    state       TEXT NOT NULL CHECK (state IN ('running', 'done', 'merged')),
    attempt     BIGINT NOT NULL,
    owner       TEXT NOT NULL,
    lease_until TIMESTAMPTZ,
    done_at     TIMESTAMPTZ,
    note        TEXT NOT NULL,
    PRIMARY KEY (job, occurrence)
);

-- The outbox: mail that is owed.
CREATE TABLE notice (
    id          TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    key         TEXT COLLATE "C" NOT NULL UNIQUE CHECK (key <> ''),
    kind        TEXT NOT NULL,
    person      TEXT NOT NULL,
    clock       TEXT NOT NULL,
    subject     TEXT NOT NULL,
    occurrence  TEXT NOT NULL,
    from_addr   TEXT NOT NULL,
    to_addr     TEXT NOT NULL,
    message_id  TEXT NOT NULL,
    title       TEXT NOT NULL,
    raw         BYTEA NOT NULL,
    state       TEXT NOT NULL CHECK (state IN ('owed', 'sending', 'sent', 'refused', 'parked')),
    attempts    BIGINT NOT NULL,
    uncertain   BIGINT NOT NULL,
    created     TIMESTAMPTZ NOT NULL,
    first_try   TIMESTAMPTZ,
    next_try    TIMESTAMPTZ NOT NULL,
    sent_at     TIMESTAMPTZ,
    reply       TEXT NOT NULL,
    owner       TEXT NOT NULL,
    lease_until TIMESTAMPTZ,
    handed_at   TIMESTAMPTZ
);
CREATE INDEX notice_next ON notice (state, next_try);

-- The log and the audit are only ever added to.
-- +goose StatementBegin
CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '%', TG_ARGV[0];
END;
$$;
-- +goose StatementEnd
CREATE TRIGGER entry_no_change BEFORE UPDATE OR DELETE ON entry
    FOR EACH ROW EXECUTE FUNCTION refuse_change('the log is never changed: log a correction that names the entry it replaces');
CREATE TRIGGER entry_no_truncate BEFORE TRUNCATE ON entry
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('the log is never changed: log a correction that names the entry it replaces');
CREATE TRIGGER reading_no_change BEFORE UPDATE OR DELETE ON reading
    FOR EACH ROW EXECUTE FUNCTION refuse_change('the log is never changed: log a correction that names the entry it replaces');
CREATE TRIGGER reading_no_truncate BEFORE TRUNCATE ON reading
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('the log is never changed: log a correction that names the entry it replaces');
CREATE TRIGGER audit_no_change BEFORE UPDATE OR DELETE ON audit
    FOR EACH ROW EXECUTE FUNCTION refuse_change('the audit is never changed');
CREATE TRIGGER audit_no_truncate BEFORE TRUNCATE ON audit
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('the audit is never changed');
