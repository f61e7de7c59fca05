-- +goose Up
-- A batch of sugar in the sugarhouse's book: where it left the fire, where the same
-- thermometer showed boiling water, the air of the room, and how it came out; and of a boil
-- the one pan that it was in, '' for all of them.
ALTER TABLE house_entry ADD COLUMN pan TEXT NOT NULL DEFAULT '';
ALTER TABLE house_entry ADD COLUMN left_c DOUBLE PRECISION;
ALTER TABLE house_entry ADD COLUMN water_c DOUBLE PRECISION;
ALTER TABLE house_entry ADD COLUMN humidity_pct DOUBLE PRECISION;
ALTER TABLE house_entry ADD COLUMN outcome TEXT NOT NULL DEFAULT '';

-- Visits of a class that somebody booked, and what a class guessed. Nobody is named.
CREATE TABLE class_visit (
    id          TEXT PRIMARY KEY,
    site        TEXT NOT NULL,
    day         TEXT NOT NULL, -- local
    from_min    BIGINT NOT NULL, -- after midnight
    to_min      BIGINT NOT NULL,
    learners    BIGINT NOT NULL, -- 0 where nobody has said
    removed     BIGINT NOT NULL,
    recorded_at TEXT NOT NULL,
    recorded_by TEXT NOT NULL
);

CREATE INDEX class_visit_of_site ON class_visit (site, day);

CREATE TABLE class_guess (
    id          TEXT PRIMARY KEY,
    site        TEXT NOT NULL,
    day         TEXT NOT NULL, -- local, that the guess is about
    hands_yes   BIGINT NOT NULL,
    hands_no    BIGINT NOT NULL,
    ours        DOUBLE PRECISION NOT NULL, -- the chance that stood in the outlook then
    rule        BIGINT NOT NULL, -- what frost by night and thaw by day say, 1 for a run
    recorded_at TEXT NOT NULL
);

CREATE INDEX class_guess_of_site ON class_guess (site, day);

-- +goose Down
DROP TABLE class_guess;
DROP TABLE class_visit;
ALTER TABLE house_entry DROP COLUMN outcome;
ALTER TABLE house_entry DROP COLUMN humidity_pct;
ALTER TABLE house_entry DROP COLUMN water_c;
ALTER TABLE house_entry DROP COLUMN left_c;
ALTER TABLE house_entry DROP COLUMN pan;
