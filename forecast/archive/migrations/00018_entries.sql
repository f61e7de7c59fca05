-- +goose Up
-- What somebody entered at once, so that it can be taken back as one.
CREATE TABLE entry (
    site      TEXT NOT NULL,
    number    BIGINT NOT NULL,
    name      TEXT NOT NULL, -- the sender's key, '' for none
    way       TEXT NOT NULL, -- in: command, text, …
    person    TEXT NOT NULL, -- id, '' for nobody of the settings
    made_by   TEXT NOT NULL, -- as records name who wrote them
    made_at   TEXT NOT NULL,
    undone_at TEXT NOT NULL DEFAULT '',
    PRIMARY KEY (site, number)
);

-- The visits of an entry, in its order, and what became of each.
CREATE TABLE entry_visit (
    site     TEXT NOT NULL,
    number   BIGINT NOT NULL,
    place    BIGINT NOT NULL,
    visit_id TEXT NOT NULL,
    revision BIGINT NOT NULL, -- at which the visit says what was written, 0 where nothing was
    before   BIGINT NOT NULL, -- the revision that it was at, 0 where it was not there
    outcome  TEXT NOT NULL,
    PRIMARY KEY (site, number, place)
);

-- +goose Down
DROP TABLE entry_visit;
DROP TABLE entry;
