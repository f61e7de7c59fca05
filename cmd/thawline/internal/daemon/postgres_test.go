package daemon

import (
	"testing"

	"thawline/testdata/beside"
)

func TestOnPostgres(t *testing.T) {
	several := map[string]func(*testing.T){"several daemons": TestSeveralDaemonsTellOnce, "leases": TestLeases,
		"what is seen near by": TestAnEarlyRunIsToldByWhatIsSeen,
		"a dead daemon":        TestEveningOfADeadDaemonIsDone,
		"together":             TestWhatComesTogetherIsOneMessage, "answered together": TestAJointMessageIsAnsweredAndEscalated,
		"the night": TestTheNightsMessagesAreOne, "parts": TestPartsOfAJointMessageExpireByThemselves}
	beside.OnPostgres(t, several)
	if testing.Short() {
		return
	}
	// Whole seasons on both databases are lived through by .ci/campaign seasons.
	beside.OnPostgres(t, map[string]func(*testing.T){
		"feeds": TestFeeds, "replies": TestReplies, "escalation": TestEscalation, "retries": TestRetriesAndFallBack,
		"gauges":       TestGaugesBecomeRecords,
		"housekeeping": TestHousekeepingForgets, "subscribing": TestSubscribing, "clock changes": TestClockChanges, "pauses": TestPause,
		"seen": TestOKIsAboutTheLastMessage, "downtime": TestStartAfterDowntime,
	})
}
