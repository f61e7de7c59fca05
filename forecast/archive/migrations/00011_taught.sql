-- +goose Up
-- What the seasons before this one taught, worked out once and kept under a mark that
-- changes with their records and weather.
CREATE TABLE taught (
    site     TEXT PRIMARY KEY,
    mark     TEXT NOT NULL,
    document BYTEA NOT NULL -- JSON, compressed with gzip
);

-- +goose Down
DROP TABLE taught;
