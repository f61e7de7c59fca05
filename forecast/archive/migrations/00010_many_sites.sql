-- +goose Up
-- What daemons that share a database have left of each weather service.
CREATE TABLE service_budget (
    service TEXT PRIMARY KEY,
    free_at BIGINT NOT NULL,           -- microseconds since 1970: when it may be asked next
    day     TEXT NOT NULL,             -- UTC
    used    DOUBLE PRECISION NOT NULL  -- of that day's sum
);

-- The last good forecast of each place, for daemons that did not ask for it.
CREATE TABLE bulletin (
    name     TEXT PRIMARY KEY,
    got_at   TEXT NOT NULL,
    document BYTEA NOT NULL -- JSON, compressed with gzip
);

-- +goose Down
DROP TABLE bulletin;
DROP TABLE service_budget;
