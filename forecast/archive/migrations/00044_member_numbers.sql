-- +goose Up
-- Which change wrote a member's row last, so that only what is new is read again.
ALTER TABLE member ADD COLUMN number BIGINT NOT NULL DEFAULT 0;
CREATE INDEX member_number ON member (number);

-- The next job of a queue is found without reading those that wait behind it.
CREATE INDEX engine_job_next ON engine_job (queue, urgent, due_at, name);

-- +goose Down
DROP INDEX engine_job_next;
DROP INDEX member_number;
ALTER TABLE member DROP COLUMN number;
