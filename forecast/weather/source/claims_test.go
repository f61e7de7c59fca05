package source

import (
	"net/http"
	"testing"
	"time"
)

// Open-Meteo names no issue time: when its server gave the answer out stands for it,
// less the time in a cache, and never a moment after now.
func TestIssueTimeOfAnAnswerWithoutOne(t *testing.T) {
	now := time.Date(2026, 3, 20, 21, 30, 0, 0, time.UTC)
	for _, c := range []struct {
		date, age string
		received  time.Time
		want      time.Time
	}{
		{"Fri, 20 Mar 2026 21:00:00 GMT", "", now, now.Add(-30 * time.Minute)},
		{"Fri, 20 Mar 2026 21:00:00 GMT", "600", now, now.Add(-40 * time.Minute)},
		{"Fri, 20 Mar 2026 23:00:00 GMT", "", now, now},
		{"soon", "", now.Add(-5 * time.Minute), now.Add(-5 * time.Minute)},
		{"", "", now.Add(time.Hour), now},
	} {
		r := Reply{Header: http.Header{"Date": {c.date}, "Age": {c.age}}, ReceivedAt: c.received}
		if got := repliedAt(&r, now); !got.Equal(c.want) {
			t.Errorf("%q, age %q: %s, want %s", c.date, c.age, got, c.want)
		}
	}
}

// An answer stands for 70 minutes, to the minute.
func TestAnswersStandForSeventyMinutes(t *testing.T) {
	c, err := NewCells(&Chain{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	got := time.Date(2026, 3, 20, 21, 30, 0, 0, time.UTC)
	if !c.fresh(got, got.Add(69*time.Minute)) || c.fresh(got, got.Add(70*time.Minute)) || c.fresh(got, got.Add(-time.Minute)) {
		t.Error("an answer does not stand for 70 minutes")
	}
}
