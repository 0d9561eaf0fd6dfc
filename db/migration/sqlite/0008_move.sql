-- +goose Up
-- A row stands here while another database is moved into this one, and after a
-- move that did not come to its end: what is here is not whole then.
CREATE TABLE moving (
    one   INTEGER NOT NULL PRIMARY KEY CHECK (one = 1),
    began TEXT NOT NULL
) STRICT;
