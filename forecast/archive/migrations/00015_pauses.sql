-- +goose Up
-- People who asked for no messages before a moment.
CREATE TABLE person_paused (
    person TEXT PRIMARY KEY,
    until  TEXT NOT NULL
);

-- +goose Down
DROP TABLE person_paused;
