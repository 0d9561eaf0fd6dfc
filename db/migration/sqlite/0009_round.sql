-- +goose Up
-- How people go on rounds; what a visit to a site takes stands in its detail.
ALTER TABLE person ADD COLUMN going TEXT NOT NULL DEFAULT '{}';
ALTER TABLE policy ADD COLUMN two INTEGER NOT NULL DEFAULT 0 CHECK (two IN (0, 1));

-- What was decided by hand of the rounds to come. An empty site is every site, an
-- empty person everybody.
CREATE TABLE round_mark (
    kind   TEXT NOT NULL CHECK (kind IN ('set', 'not')),
    site   TEXT NOT NULL,
    person TEXT NOT NULL,
    day    TEXT NOT NULL,
    tasks  TEXT NOT NULL DEFAULT '[]', -- what a visit that was kept is to do, JSON
    why    TEXT NOT NULL,
    whose  TEXT NOT NULL, -- who decided
    at     TEXT NOT NULL,
    PRIMARY KEY (kind, site, person, day)
) STRICT;
CREATE INDEX round_mark_day ON round_mark (day);
