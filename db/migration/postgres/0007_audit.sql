-- +goose Up
-- Each audit row carries the SHA-256 over that of the row before and what it says
-- itself: who and what stand in it plainly, of what and what it came to under a
-- seal, SHA-256 over salt and both, so that they can be taken away when a person
-- is erased, and the chain still holds. See audit.go.
ALTER TABLE audit ADD COLUMN salt BYTEA NOT NULL DEFAULT '';
ALTER TABLE audit ADD COLUMN seal BYTEA NOT NULL DEFAULT '';
ALTER TABLE audit ADD COLUMN hash BYTEA NOT NULL DEFAULT '';

-- What the last look at the whole chain found; broken is the first row that does
-- not fit, 0 where all do.
CREATE TABLE audit_check (
    one     BIGINT NOT NULL PRIMARY KEY CHECK (one = 1),
    at      TIMESTAMPTZ NOT NULL,
    n       BIGINT NOT NULL,
    emptied BIGINT NOT NULL,
    broken  BIGINT NOT NULL,
    why     TEXT NOT NULL
);

-- People who were erased. What they did stands under their number.
CREATE TABLE erased (
    slug TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    n    BIGINT NOT NULL UNIQUE CHECK (n > 0),
    at   TIMESTAMPTZ NOT NULL
);

-- An audit row is sealed once, and emptied where it speaks of somebody erased;
-- nothing else of it is ever changed.
-- +goose StatementBegin
CREATE FUNCTION refuse_audit_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF (NEW.id, NEW.at, NEW.actor, NEW.action) = (OLD.id, OLD.at, OLD.actor, OLD.action) AND (
        length(OLD.hash) = 0 AND length(NEW.hash) = 32 AND (NEW.subject, NEW.detail) = (OLD.subject, OLD.detail)
        OR (NEW.seal, NEW.hash) = (OLD.seal, OLD.hash) AND length(NEW.salt) = 0 AND NEW.detail = ''
            AND EXISTS (SELECT 1 FROM erased WHERE NEW.subject = 'person ' || n || ', erased')) THEN
        RETURN NEW;
    END IF;
    RAISE EXCEPTION 'the audit is never changed';
END;
$$;
-- +goose StatementEnd
DROP TRIGGER audit_no_change ON audit;
CREATE TRIGGER audit_no_delete BEFORE DELETE ON audit
    FOR EACH ROW EXECUTE FUNCTION refuse_change('the audit is never changed');
CREATE TRIGGER audit_no_update BEFORE UPDATE ON audit
    FOR EACH ROW EXECUTE FUNCTION refuse_audit_change();
