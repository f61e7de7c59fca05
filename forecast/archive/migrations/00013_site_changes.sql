-- +goose Up
-- Counts the writes to a site's records, so that every daemon sees that its outlook has
-- to be made again.
CREATE TABLE site_changes (
    site   TEXT PRIMARY KEY,
    number BIGINT NOT NULL
);

-- +goose Down
DROP TABLE site_changes;
