-- +goose Up
-- Long shafts grow by the season: how long, and of what metal in what frame.
ALTER TABLE bearing ADD COLUMN stand_um BIGINT NOT NULL DEFAULT 0;
ALTER TABLE bearing ADD COLUMN shaft TEXT NOT NULL DEFAULT '';
ALTER TABLE bearing ADD COLUMN frame TEXT NOT NULL DEFAULT '';

-- Pairs of wheels that a bearing's wear moves. Angles are in degrees.
CREATE TABLE mesh (
    clock        TEXT COLLATE "C" NOT NULL,
    train_ord    BIGINT NOT NULL,
    ord          BIGINT NOT NULL,
    code         TEXT COLLATE "C" NOT NULL,
    name         TEXT NOT NULL,
    bearing      TEXT NOT NULL,
    kind         TEXT NOT NULL,
    module_mm    DOUBLE PRECISION NOT NULL,
    pressure_deg DOUBLE PRECISION NOT NULL,
    cycloidal    BOOLEAN NOT NULL,
    teeth        BIGINT NOT NULL,
    mate         BIGINT NOT NULL,
    cone_deg     DOUBLE PRECISION NOT NULL,
    on_drop      TEXT NOT NULL,
    mounted_um   BIGINT NOT NULL,
    backlash_um  BIGINT NOT NULL,
    to_hand      DOUBLE PRECISION NOT NULL,
    PRIMARY KEY (clock, train_ord, ord),
    UNIQUE (clock, code),
    FOREIGN KEY (clock, train_ord) REFERENCES train (clock, ord)
);

-- What the fleet taught, each time it was asked. Only ever added to, so that a
-- figure that was shown can be traced to it.
CREATE TABLE learned (
    version   BIGINT NOT NULL PRIMARY KEY CHECK (version > 0),
    fitted_at TIMESTAMPTZ NOT NULL,
    body      TEXT NOT NULL
);
CREATE TRIGGER learned_no_change BEFORE UPDATE OR DELETE ON learned
    FOR EACH ROW EXECUTE FUNCTION refuse_change('what the fleet taught is never changed: fit it anew');
CREATE TRIGGER learned_no_truncate BEFORE TRUNCATE ON learned
    FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('what the fleet taught is never changed: fit it anew');
