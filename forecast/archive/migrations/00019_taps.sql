-- +goose Up
-- When the taps of a group were put in and pulled.
CREATE TABLE tap_event (
    id          TEXT PRIMARY KEY,
    site        TEXT NOT NULL,
    taps_group  TEXT NOT NULL,
    kind        TEXT NOT NULL, -- tapped or pulled
    moment      TEXT NOT NULL, -- a day, or an instant in UTC: with site, group and kind it names the event
    on_at       TEXT NOT NULL, -- in UTC, for sorting
    revision    BIGINT NOT NULL,
    removed     BIGINT NOT NULL,
    recorded_at TEXT NOT NULL,
    recorded_by TEXT NOT NULL,
    UNIQUE (site, taps_group, kind, moment)
);

-- Whether an event was in the lists before it was taken out or brought back.
CREATE TABLE tap_event_before (
    event_id    TEXT NOT NULL,
    revision    BIGINT NOT NULL,
    removed     BIGINT NOT NULL,
    recorded_at TEXT NOT NULL,
    recorded_by TEXT NOT NULL,
    PRIMARY KEY (event_id, revision)
);

-- +goose Down
DROP TABLE tap_event_before;
DROP TABLE tap_event;
