-- +goose Up
CREATE TABLE push_subscription (
    endpoint   TEXT PRIMARY KEY,
    person     TEXT NOT NULL,
    document   TEXT NOT NULL, -- as the browser gave it
    added_at   TEXT NOT NULL
);

-- +goose Down
DROP TABLE push_subscription;
