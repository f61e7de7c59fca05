package engine_test

import (
	"context"
	"testing"

	"thawline/alerts/engine"
	"thawline/testdata/beside"
)

func openRiver(ctx context.Context, o engine.Options, listen string) (engine.Driver, error) {
	return engine.OpenRiver(ctx, o, listen)
}

// All at once: they wait most of the time.
func riverKeepsTheContract(t *testing.T) {
	if testing.Short() {
		t.Skip("River is tried through PgBouncer in the short pass")
	}
	for name, promise := range contract {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			promise(t, opener{open: openRiver})
		})
	}
}

// Behind PgBouncer in its transaction mode no statement knows on which connection the last
// one was made, and nobody can listen. Two daemons share the work all the same.
func TestThroughPgBouncer(t *testing.T) {
	where := beside.PgBouncer(t, 4)
	for _, driver := range []struct {
		name string
		open opener
	}{{"local", local}, {"river", opener{open: openRiver}}} {
		driver.open.where = where
		for _, name := range []string{"two daemons share, each job is done once", "what a dead daemon had in hand is done"} {
			t.Run(driver.name+": "+name, func(t *testing.T) { contract[name](t, driver.open) })
		}
	}
}
