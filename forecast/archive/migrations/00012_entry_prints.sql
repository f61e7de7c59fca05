-- +goose Up
-- What was sent under a key, as a hash, '' where nobody said.
ALTER TABLE entry_once ADD COLUMN print TEXT NOT NULL DEFAULT '';

-- +goose Down
ALTER TABLE entry_once DROP COLUMN print;
