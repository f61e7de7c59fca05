-- +goose Up
-- Counts the writes to a place's weather by UTC month, so that what was worked out from
-- hours that were written anew is seen to be old.
CREATE TABLE weather_change (
    place  TEXT NOT NULL,
    month  TEXT NOT NULL,
    number BIGINT NOT NULL,
    PRIMARY KEY (place, month)
);

-- What the days of a bush's past seasons gave, worked out once; each season stands under a
-- mark that changes with its records and weather.
CREATE TABLE past_days (
    site     TEXT PRIMARY KEY,
    document BYTEA NOT NULL -- JSON, compressed with gzip
);

-- +goose Down
DROP TABLE past_days;
DROP TABLE weather_change;
