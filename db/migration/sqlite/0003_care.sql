-- +goose Up
-- What a place, a clock and a train need beside what has a column: climate, care,
-- and what drives the train and what it sounds. JSON as schedule and wear write it.
ALTER TABLE site ADD COLUMN detail TEXT NOT NULL DEFAULT '{}';
ALTER TABLE clock ADD COLUMN detail TEXT NOT NULL DEFAULT '{}';
ALTER TABLE train ADD COLUMN detail TEXT NOT NULL DEFAULT '{}';

-- The chance that work may come too late, the line that is looked at, and how
-- long the job takes.
ALTER TABLE policy ADD COLUMN risk REAL NOT NULL DEFAULT 0;
ALTER TABLE policy ADD COLUMN line TEXT NOT NULL DEFAULT '';
ALTER TABLE policy ADD COLUMN minutes INTEGER NOT NULL DEFAULT 0;
