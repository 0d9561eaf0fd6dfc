-- +goose Up
-- Each audit row carries the SHA-256 over that of the row before and what it says
-- itself: who and what stand in it plainly, of what and what it came to under a
-- seal, SHA-256 over salt and both, so that they can be taken away when a person
-- is erased, and the chain still holds. See audit.go.
ALTER TABLE audit ADD COLUMN salt BLOB NOT NULL DEFAULT x'';
ALTER TABLE audit ADD COLUMN seal BLOB NOT NULL DEFAULT x'';
ALTER TABLE audit ADD COLUMN hash BLOB NOT NULL DEFAULT x'';

-- What the last look at the whole chain found; broken is the first row that does
-- not fit, 0 where all do.
CREATE TABLE audit_check (
    one     INTEGER NOT NULL PRIMARY KEY CHECK (one = 1),
    at      TEXT NOT NULL,
    n       INTEGER NOT NULL,
    emptied INTEGER NOT NULL,
    broken  INTEGER NOT NULL,
    why     TEXT NOT NULL
) STRICT;

-- People who were erased. What they did stands under their number.
CREATE TABLE erased (
    slug TEXT NOT NULL PRIMARY KEY,
    n    INTEGER NOT NULL UNIQUE CHECK (n > 0),
    at   TEXT NOT NULL
) STRICT;

-- An audit row is sealed once, and emptied where it speaks of somebody erased;
-- nothing else of it is ever changed.
DROP TRIGGER audit_no_update;
-- +goose StatementBegin
CREATE TRIGGER audit_no_update BEFORE UPDATE ON audit
WHEN NOT ((NEW.id, NEW.at, NEW.actor, NEW.action) = (OLD.id, OLD.at, OLD.actor, OLD.action) AND (
    length(OLD.hash) = 0 AND length(NEW.hash) = 32 AND (NEW.subject, NEW.detail) = (OLD.subject, OLD.detail)
    OR (NEW.seal, NEW.hash) = (OLD.seal, OLD.hash) AND length(NEW.salt) = 0 AND NEW.detail = ''
        AND EXISTS (SELECT 1 FROM erased WHERE NEW.subject = 'person ' || n || ', erased')))
BEGIN
    SELECT RAISE(ABORT, 'the audit is never changed');
END;
-- +goose StatementEnd
