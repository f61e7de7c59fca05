-- +goose Up
-- What people have said of rounds to come: that they make one, or that they can't.
CREATE TABLE attendance (
    site         TEXT NOT NULL,
    id           TEXT NOT NULL,
    name         TEXT NOT NULL, -- the sender's key, '' for none
    kind         TEXT NOT NULL, -- going or away
    person       TEXT NOT NULL, -- id, '' for whoever goes
    person_name  TEXT NOT NULL,
    from_at      TEXT NOT NULL,
    to_at        TEXT NOT NULL, -- it counts until then
    taps_groups  TEXT NOT NULL, -- ids, as a JSON list
    along        TEXT NOT NULL, -- ids of who goes along, as a JSON list
    said_at      TEXT NOT NULL,
    said_by      TEXT NOT NULL,
    replaced_by  TEXT NOT NULL DEFAULT '', -- id of what the person said later
    withdrawn_at TEXT NOT NULL DEFAULT '',
    withdrawn_by TEXT NOT NULL DEFAULT '',
    PRIMARY KEY (site, id)
);
CREATE INDEX attendance_until ON attendance (site, to_at);
CREATE UNIQUE INDEX attendance_once ON attendance (site, name) WHERE name <> '';

-- +goose Down
DROP TABLE attendance;
