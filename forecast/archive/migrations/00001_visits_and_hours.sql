-- +goose Up
CREATE TABLE visit (
    id           TEXT PRIMARY KEY,
    site         TEXT NOT NULL,
    taps_group   TEXT NOT NULL,
    moment       TEXT NOT NULL, -- a day, or an instant in UTC: with site and group it names the visit
    collected_at TEXT NOT NULL, -- in UTC, for sorting
    taps         BIGINT NOT NULL,
    volume_l     DOUBLE PRECISION, -- NULL: nothing collected, or not looked at
    brix_pct     DOUBLE PRECISION,
    note         TEXT NOT NULL,
    revision     BIGINT NOT NULL,
    removed      BIGINT NOT NULL,
    recorded_at  TEXT NOT NULL,
    recorded_by  TEXT NOT NULL,
    UNIQUE (site, taps_group, moment)
);
CREATE INDEX visit_by_time ON visit (site, collected_at);

-- What a visit said before it was corrected or removed.
CREATE TABLE visit_before (
    visit_id     TEXT NOT NULL,
    revision     BIGINT NOT NULL,
    taps         BIGINT NOT NULL,
    volume_l     DOUBLE PRECISION,
    brix_pct     DOUBLE PRECISION,
    note         TEXT NOT NULL,
    removed      BIGINT NOT NULL,
    recorded_at  TEXT NOT NULL,
    recorded_by  TEXT NOT NULL,
    PRIMARY KEY (visit_id, revision)
);

-- Weather that has been, a row for each UTC day: columns of forecast/weather, 24
-- single-precision values each, gaps as NaN.
CREATE TABLE weather_day (
    place TEXT NOT NULL,
    day   TEXT NOT NULL,
    hours BYTEA NOT NULL,
    PRIMARY KEY (place, day)
);

-- +goose Down
DROP TABLE weather_day;
DROP TABLE visit_before;
DROP TABLE visit;
