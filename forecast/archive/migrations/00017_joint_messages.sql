-- +goose Up
-- The delivery that carries this one's words in a message of its own, '' for none: what
-- one person is told at one moment is one message. It waits as others do, so that it goes
-- by itself where that one is gone.
ALTER TABLE delivery ADD COLUMN goes_with TEXT NOT NULL DEFAULT '';
CREATE INDEX delivery_of_person ON delivery (person, next_at);
CREATE INDEX delivery_goes_with ON delivery (goes_with);

-- +goose Down
DROP INDEX delivery_goes_with;
DROP INDEX delivery_of_person;
ALTER TABLE delivery DROP COLUMN goes_with;
