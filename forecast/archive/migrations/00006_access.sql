-- +goose Up
CREATE TABLE account (
    person        TEXT PRIMARY KEY,
    password_hash TEXT NOT NULL, -- argon2id, in its usual text form
    changed_at    TEXT NOT NULL
);

CREATE TABLE web_session (
    token      TEXT PRIMARY KEY, -- hashed
    data       BYTEA NOT NULL,
    expires_at TEXT NOT NULL
);

-- Links that let somebody in until they end.
CREATE TABLE access_link (
    id           TEXT PRIMARY KEY,
    kind         TEXT NOT NULL, -- crew, password
    name         TEXT NOT NULL,
    person       TEXT NOT NULL, -- who may choose a password
    role         TEXT NOT NULL,
    site         TEXT NOT NULL, -- '' for all
    made_by      TEXT NOT NULL,
    made_at      TEXT NOT NULL,
    expires_at   TEXT NOT NULL,
    used_at      TEXT NOT NULL,
    withdrawn_at TEXT NOT NULL
);

CREATE TABLE access_token (
    id           TEXT PRIMARY KEY,
    name         TEXT NOT NULL,
    hash         TEXT NOT NULL UNIQUE, -- SHA-256 of the token
    scopes       TEXT NOT NULL,
    site         TEXT NOT NULL,
    made_by      TEXT NOT NULL,
    made_at      TEXT NOT NULL,
    expires_at   TEXT NOT NULL,
    withdrawn_at TEXT NOT NULL
);

-- +goose Down
DROP TABLE access_token;
DROP TABLE access_link;
DROP TABLE web_session;
DROP TABLE account;
