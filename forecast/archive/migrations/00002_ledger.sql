-- +goose Up
CREATE TABLE decision (
    id         TEXT PRIMARY KEY,
    site       TEXT NOT NULL,
    kind       TEXT NOT NULL,
    name       TEXT NOT NULL, -- the decision's key: told once for good
    made_at    TEXT NOT NULL,
    useful_to  TEXT NOT NULL,
    document   TEXT NOT NULL, -- the decision as JSON, with why
    UNIQUE (site, name)
);
CREATE INDEX decision_by_time ON decision (site, kind, made_at);

-- One row for each person who is told, made in the transaction of its decision.
CREATE TABLE delivery (
    id          TEXT PRIMARY KEY, -- the idempotency key at channels that know one
    decision_id TEXT NOT NULL REFERENCES decision (id),
    person      TEXT NOT NULL,
    state       TEXT NOT NULL, -- waiting, sent, expired, failed, held
    channel     BIGINT NOT NULL, -- which of the person's channels is tried
    attempts    BIGINT NOT NULL,
    next_at     TEXT NOT NULL,
    sent_at     TEXT NOT NULL,
    words       TEXT NOT NULL,
    urgent      BIGINT NOT NULL,
    acked_at    TEXT NOT NULL,
    UNIQUE (decision_id, person)
);
CREATE INDEX delivery_waiting ON delivery (state, next_at);

-- Every attempt, with what the other side said.
CREATE TABLE attempt (
    delivery_id TEXT NOT NULL REFERENCES delivery (id),
    number      BIGINT NOT NULL,
    at          TEXT NOT NULL,
    channel     TEXT NOT NULL,
    outcome     TEXT NOT NULL, -- accepted, refused, later
    said        TEXT NOT NULL,
    PRIMARY KEY (delivery_id, number)
);

-- When a job last did its work for a slot: an evening is not done twice.
CREATE TABLE job_done (
    site    TEXT NOT NULL,
    job     TEXT NOT NULL,
    slot    TEXT NOT NULL,
    done_at TEXT NOT NULL,
    PRIMARY KEY (site, job, slot)
);

-- +goose Down
DROP TABLE job_done;
DROP TABLE attempt;
DROP TABLE delivery;
DROP TABLE decision;
