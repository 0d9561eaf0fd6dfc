-- +goose Up
-- Long shafts grow by the season: how long, and of what metal in what frame.
ALTER TABLE bearing ADD COLUMN stand_um INTEGER NOT NULL DEFAULT 0;
ALTER TABLE bearing ADD COLUMN shaft TEXT NOT NULL DEFAULT '';
ALTER TABLE bearing ADD COLUMN frame TEXT NOT NULL DEFAULT '';

-- Pairs of wheels that a bearing's wear moves. Angles are in degrees.
CREATE TABLE mesh (
    clock        TEXT NOT NULL,
    train_ord    INTEGER NOT NULL,
    ord          INTEGER NOT NULL,
    code         TEXT NOT NULL,
    name         TEXT NOT NULL,
    bearing      TEXT NOT NULL,
    kind         TEXT NOT NULL,
    module_mm    REAL NOT NULL,
    pressure_deg REAL NOT NULL,
    cycloidal    INTEGER NOT NULL CHECK (cycloidal IN (0, 1)),
    teeth        INTEGER NOT NULL,
    mate         INTEGER NOT NULL,
    cone_deg     REAL NOT NULL,
    on_drop      TEXT NOT NULL,
    mounted_um   INTEGER NOT NULL,
    backlash_um  INTEGER NOT NULL,
    to_hand      REAL NOT NULL,
    PRIMARY KEY (clock, train_ord, ord),
    UNIQUE (clock, code),
    FOREIGN KEY (clock, train_ord) REFERENCES train (clock, ord)
) STRICT;

-- What the fleet taught, each time it was asked. Only ever added to, so that a
-- figure that was shown can be traced to it.
CREATE TABLE learned (
    version   INTEGER NOT NULL PRIMARY KEY CHECK (version > 0),
    fitted_at TEXT NOT NULL,
    body      TEXT NOT NULL
) STRICT;
-- +goose StatementBegin
CREATE TRIGGER learned_no_update BEFORE UPDATE ON learned
BEGIN
    SELECT RAISE(ABORT, 'what the fleet taught is never changed: fit it anew');
END;
-- +goose StatementEnd
-- +goose StatementBegin
CREATE TRIGGER learned_no_delete BEFORE DELETE ON learned
BEGIN
    SELECT RAISE(ABORT, 'what the fleet taught is never changed: fit it anew');
END;
-- +goose StatementEnd
