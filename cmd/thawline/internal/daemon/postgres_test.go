package daemon

import (
	"testing"

	"thawline/testdata/beside"
)

func TestOnPostgres(t *testing.T) {
	beside.OnPostgres(t, map[string]func(*testing.T){
		"feeds": TestFeeds, "replies": TestReplies, "escalation": TestEscalation, "retries": TestRetriesAndFallBack, "gauges": TestGaugesBecomeRecords,
		"housekeeping": TestHousekeepingForgets, "subscribing": TestSubscribing, "season": TestSeasonOfTheDemonstration, "clock changes": TestClockChanges, "downtime": TestStartAfterDowntime, "several daemons": TestSeveralDaemonsTellOnce, "leases": TestLeases, "a dead daemon": TestEveningOfADeadDaemonIsDone,
	})
}
