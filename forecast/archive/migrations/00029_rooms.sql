-- +goose Up
-- The words of a delivery for a phone's text message and for a voice, '' where they are
-- those of words: text messages have fewer letters and less room.
ALTER TABLE delivery ADD COLUMN texted TEXT NOT NULL DEFAULT '';
ALTER TABLE delivery ADD COLUMN spoken TEXT NOT NULL DEFAULT '';

-- +goose Down
ALTER TABLE delivery DROP COLUMN spoken;
ALTER TABLE delivery DROP COLUMN texted;
