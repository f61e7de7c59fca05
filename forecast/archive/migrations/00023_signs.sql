-- +goose Up
-- The name of a sign that people on the land go by, '' where something else was seen.
ALTER TABLE observation ADD COLUMN sign TEXT NOT NULL DEFAULT '';

-- +goose Down
ALTER TABLE observation DROP COLUMN sign;
