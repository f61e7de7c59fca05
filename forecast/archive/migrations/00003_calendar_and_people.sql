-- +goose Up
CREATE TABLE calendar_entry (
    site       TEXT NOT NULL,
    uid        TEXT NOT NULL,
    sequence   BIGINT NOT NULL,
    changed_at TEXT NOT NULL,
    ends_at    TEXT NOT NULL,
    called_off BIGINT NOT NULL,
    document   TEXT NOT NULL, -- the entry as JSON
    PRIMARY KEY (site, uid)
);

-- People who asked for no more messages.
CREATE TABLE person_stopped (
    person     TEXT PRIMARY KEY,
    stopped_at TEXT NOT NULL
);

-- What the daemon keeps for itself, such as the key that feed addresses are made
-- with.
CREATE TABLE kept_value (
    name  TEXT PRIMARY KEY,
    value TEXT NOT NULL
);

-- +goose Down
DROP TABLE kept_value;
DROP TABLE person_stopped;
DROP TABLE calendar_entry;
