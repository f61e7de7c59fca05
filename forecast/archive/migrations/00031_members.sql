-- +goose Up
-- Bushes and people of an association, as a settings file would describe them.
CREATE TABLE member (
    kind       TEXT NOT NULL, -- bush, person
    id         TEXT NOT NULL,
    document   TEXT NOT NULL, -- JSON, without numbers and addresses of people
    sealed     TEXT NOT NULL, -- those, sealed with a key that is not kept here, '' for none
    revision   BIGINT NOT NULL,
    changed_at TEXT NOT NULL,
    PRIMARY KEY (kind, id)
);

-- Who changed what: what it said before and says now, of what is different.
CREATE TABLE member_change (
    id        TEXT PRIMARY KEY,
    at        TEXT NOT NULL,
    made_by   TEXT NOT NULL,
    way       TEXT NOT NULL, -- page, api, csv, command
    what      TEXT NOT NULL, -- added, changed, removed, invited, given, forgotten
    kind      TEXT NOT NULL,
    member    TEXT NOT NULL,
    said      TEXT NOT NULL,
    says      TEXT NOT NULL
);

CREATE INDEX member_change_of ON member_change (kind, member, at);

-- Counts the changes, so that every daemon sees that there are some.
CREATE TABLE member_count (
    name   TEXT PRIMARY KEY,
    number BIGINT NOT NULL
);

-- +goose Down
DROP TABLE member_count;
DROP TABLE member_change;
DROP TABLE member;
