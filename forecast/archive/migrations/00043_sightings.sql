-- +goose Up
-- What was seen today of the air at bushes that share it, for bushes near by: how likely that
-- would be if the air were so much warmer than forecast. Nothing of litres, and no place.
CREATE TABLE sighting (
    site     TEXT PRIMARY KEY,
    day      TEXT NOT NULL,   -- local date
    made_at  TEXT NOT NULL,   -- of the outlook that says so
    chances  TEXT NOT NULL,   -- JSON; '' where it was taken back
    revision BIGINT NOT NULL  -- counts the changes, so that every daemon sees them
);

-- +goose Down
DROP TABLE sighting;
