-- +goose Up
-- Keys of entries that were sent from a phone: the same key again writes nothing.
CREATE TABLE entry_once (
    name    TEXT PRIMARY KEY,
    sent_at TEXT NOT NULL,
    puts    TEXT NOT NULL -- what became of its visits, as JSON
);

-- +goose Down
DROP TABLE entry_once;
