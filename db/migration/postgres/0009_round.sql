-- +goose Up
-- How people go on rounds; what a visit to a site takes stands in its detail.
ALTER TABLE person ADD COLUMN going TEXT NOT NULL DEFAULT '{}';
ALTER TABLE policy ADD COLUMN two BOOLEAN NOT NULL DEFAULT false;

-- What was decided by hand of the rounds to come. An empty site is every site, an
-- empty person everybody.
CREATE TABLE round_mark (
    kind   TEXT COLLATE "C" NOT NULL CHECK (kind IN ('set', 'not')),
    site   TEXT COLLATE "C" NOT NULL,
    person TEXT COLLATE "C" NOT NULL,
    day    TEXT COLLATE "C" NOT NULL,
    tasks  TEXT NOT NULL DEFAULT '[]', -- what a visit that was kept is to do, JSON
    why    TEXT NOT NULL,
    whose  TEXT COLLATE "C" NOT NULL, -- who decided
    at     TIMESTAMPTZ NOT NULL,
    PRIMARY KEY (kind, site, person, day)
);
CREATE INDEX round_mark_day ON round_mark (day);
