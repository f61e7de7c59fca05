-- +goose Up
-- What gauges said stands in tanks; the same reading twice is one.
CREATE TABLE tank_level (
    site   TEXT NOT NULL,
    tank   TEXT NOT NULL,
    at     TEXT NOT NULL,
    litres DOUBLE PRECISION NOT NULL,
    PRIMARY KEY (site, tank, at)
);

-- +goose Down
DROP TABLE tank_level;
