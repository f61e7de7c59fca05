-- +goose Up
-- Work that waits for its moment: an alarm clock for what stands elsewhere.
CREATE TABLE engine_job (
    kind       TEXT NOT NULL,
    name       TEXT NOT NULL,
    queue      TEXT NOT NULL,
    args       TEXT NOT NULL,
    due_at     TEXT NOT NULL,
    urgent     INTEGER NOT NULL,
    attempts   INTEGER NOT NULL DEFAULT 0,
    holder     TEXT NOT NULL DEFAULT '',
    held_until TEXT NOT NULL DEFAULT '',
    PRIMARY KEY (kind, name)
);
CREATE INDEX engine_job_due ON engine_job (queue, due_at);

-- How fast a channel is sent to by all daemons together, in milliseconds since 1970.
CREATE TABLE engine_pace (
    channel   TEXT PRIMARY KEY,
    next_ms   BIGINT NOT NULL, -- when what was reserved is all sent
    paused_ms BIGINT NOT NULL  -- nothing before
);

-- +goose Down
DROP TABLE engine_pace;
DROP TABLE engine_job;
