-- +goose Up
-- What each evening said, to be looked back on.
CREATE TABLE evening (
    site     TEXT NOT NULL,
    date     TEXT NOT NULL, -- local
    document TEXT NOT NULL,
    PRIMARY KEY (site, date)
);

-- +goose Down
DROP TABLE evening;
