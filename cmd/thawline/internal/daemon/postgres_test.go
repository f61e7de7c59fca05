package daemon

import (
	"testing"

	"thawline/testdata/beside"
)

func TestOnPostgres(t *testing.T) {
	several := map[string]func(*testing.T){"several daemons": TestSeveralDaemonsTellOnce, "leases": TestLeases, "a dead daemon": TestEveningOfADeadDaemonIsDone,
		"together": TestWhatComesTogetherIsOneMessage, "answered together": TestAJointMessageIsAnsweredAndEscalated, "the night": TestTheNightsMessagesAreOne, "parts": TestPartsOfAJointMessageExpireByThemselves}
	beside.OnPostgres(t, several)
	if testing.Short() {
		return
	}
	beside.OnPostgres(t, map[string]func(*testing.T){
		"feeds": TestFeeds, "replies": TestReplies, "escalation": TestEscalation, "retries": TestRetriesAndFallBack, "gauges": TestGaugesBecomeRecords,
		"housekeeping": TestHousekeepingForgets, "subscribing": TestSubscribing, "season": TestSeasonOfTheDemonstration, "clock changes": TestClockChanges, "pauses": TestPause, "seen": TestOKIsAboutTheLastMessage, "downtime": TestStartAfterDowntime,
	})
}
