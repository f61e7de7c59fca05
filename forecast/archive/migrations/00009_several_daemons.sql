-- +goose Up
-- Which daemon has a delivery in hand, and until when.
ALTER TABLE delivery ADD COLUMN holder TEXT NOT NULL DEFAULT '';
ALTER TABLE delivery ADD COLUMN held_until TEXT NOT NULL DEFAULT '';

-- Which daemon does a job's work for a slot, and until when.
CREATE TABLE job_lease (
    site       TEXT NOT NULL,
    job        TEXT NOT NULL,
    slot       TEXT NOT NULL,
    holder     TEXT NOT NULL,
    held_until TEXT NOT NULL,
    PRIMARY KEY (site, job, slot)
);

-- The newest outlook of each site, for daemons that did not make it.
CREATE TABLE outlook (
    site      TEXT PRIMARY KEY,
    made_at   TEXT NOT NULL,
    issued_at TEXT NOT NULL, -- of its weather
    document  BYTEA NOT NULL -- JSON, compressed with gzip
);

-- +goose Down
DROP TABLE outlook;
DROP TABLE job_lease;
ALTER TABLE delivery DROP COLUMN held_until;
ALTER TABLE delivery DROP COLUMN holder;
