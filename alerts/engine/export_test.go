package engine

import "time"

// Queries are those that a look at the table asks.
func Queries() map[string]string {
	l := newLocal(Options{})
	return map[string]string{"looking": looking(time.Time{}, nil).Query, "taking": l.taking("", time.Time{}, 0, nil).Query}
}
