-- +goose Up
-- The sugarhouse's book: boils, and what was seen to be left of sap, syrup and wood.
-- Figures that were not given are null.
CREATE TABLE house_entry (
    id          TEXT PRIMARY KEY,
    site        TEXT NOT NULL,
    kind        TEXT NOT NULL, -- boiled, sap_left, tipped_out, wood_left or syrup_left
    at          TEXT NOT NULL, -- in UTC
    sap_l       DOUBLE PRECISION,
    syrup_l     DOUBLE PRECISION,
    sugar_kg    DOUBLE PRECISION,
    wood_cords  DOUBLE PRECISION,
    hours       DOUBLE PRECISION,
    note        TEXT NOT NULL,
    name        TEXT NOT NULL, -- of the sending, '' for none
    removed     BIGINT NOT NULL,
    recorded_at TEXT NOT NULL,
    recorded_by TEXT NOT NULL,
    removed_at  TEXT NOT NULL, -- '' while it is there
    removed_by  TEXT NOT NULL
);

CREATE INDEX house_entry_of_site ON house_entry (site, at);
CREATE UNIQUE INDEX house_entry_once ON house_entry (name) WHERE name <> '';

-- +goose Down
DROP TABLE house_entry;
