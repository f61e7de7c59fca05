-- +goose Up
-- What became of warnings, as people say who were asked the morning after, or as a
-- record says. Kept longer than the warnings themselves.
CREATE TABLE verdict (
    site        TEXT NOT NULL,
    warning     TEXT NOT NULL,             -- the decision's name
    kind        TEXT NOT NULL,             -- of the decision
    taps_group   TEXT NOT NULL,             -- '' for the whole bush
    chance      DOUBLE PRECISION NOT NULL, -- that was said, 0 where none was
    due_at      TEXT NOT NULL,
    asked_at    TEXT NOT NULL,             -- '' where nobody was asked
    asked_of    TEXT NOT NULL,
    answer      TEXT NOT NULL,             -- yes, no, ''
    answered_by TEXT NOT NULL,
    answered_at TEXT NOT NULL,
    PRIMARY KEY (site, warning)
);

-- +goose Down
DROP TABLE verdict;
