-- +goose Up
-- What was seen in the bush: lows and highs of its own thermometer, and whether it drips.
CREATE TABLE observation (
    id            TEXT PRIMARY KEY,
    site          TEXT NOT NULL,
    taps_group    TEXT NOT NULL, -- '' for the bush
    kind          TEXT NOT NULL, -- low, high, dripping or not_dripping
    day           TEXT NOT NULL, -- the local date, of a low that of the morning
    at            TEXT NOT NULL, -- in UTC
    temperature_c DOUBLE PRECISION, -- null where none was read
    name          TEXT NOT NULL, -- of the sending, '' for none
    removed       BIGINT NOT NULL,
    recorded_at   TEXT NOT NULL,
    recorded_by   TEXT NOT NULL,
    removed_at    TEXT NOT NULL, -- '' while it is there
    removed_by    TEXT NOT NULL,
    replaced_by   TEXT NOT NULL -- id of what was said of it later, '' for none
);

CREATE INDEX observation_of_site ON observation (site, day);
CREATE UNIQUE INDEX observation_once ON observation (name) WHERE name <> '';

-- What a thermometer said, until its lows and highs are taken.
CREATE TABLE thermometer_reading (
    site          TEXT NOT NULL,
    at            TEXT NOT NULL, -- in UTC
    temperature_c DOUBLE PRECISION NOT NULL,
    PRIMARY KEY (site, at)
);

-- +goose Down
DROP TABLE thermometer_reading;
DROP TABLE observation;
