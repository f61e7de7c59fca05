package daemon

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/records"
)

// What an evening told of the work is read back the next day, by the daemon and by commands;
// not days later, and nothing where no evening told of any.
func TestToldIsReadBack(t *testing.T) {
	w := writing(t, march, func(*Settings) {})
	site := &w.d.settings.Sites[0]
	told := forecast.Evening{Date: march.In(site.Zone).Format(time.DateOnly), Announced: forecast.Announced{
		Rounds: []forecast.CrewRound{{Start: march.Add(14 * time.Hour), End: march.Add(16 * time.Hour), Who: []string{"ann"},
			Groups: []forecast.RoundGroup{{Group: "pails", Share: 1}}}},
		Since: map[string]time.Time{"pails": march.Add(-30 * time.Hour)}}}
	if err := w.d.Archive.PutEvening(t.Context(), site.ID, told.Date, &told); err != nil {
		t.Fatal(err)
	}
	for hours, want := range map[int]int{1: 1, 15: 1, 72: 0} {
		now := march.Add(time.Duration(hours) * time.Hour)
		got, err := Told(t.Context(), w.d.Archive, site, now)
		kept := seasonOf(t.Context(), w.d.Archive, site, "here", now)
		for _, a := range []forecast.Announced{got, toldBy(kept.Evening, &ledger.NewRound{})} {
			if err != nil || len(a.Rounds) != want || want == 1 && (!a.Rounds[0].Start.Equal(told.Rounds[0].Start) || a.Since["pails"].IsZero()) {
				t.Errorf("after %d hours: %v %+v", hours, err, a)
			}
		}
	}
}

// News of a round that was told after the evening takes its place, for the daemon and for
// commands, and the next evening that of the news; a round that is over is let go of.
func TestNewsOfARoundIsReadBack(t *testing.T) {
	w := writing(t, march, func(*Settings) {})
	site := &w.d.settings.Sites[0]
	round := func(hours int) forecast.Announced {
		at := march.Add(time.Duration(hours) * time.Hour)
		return forecast.Announced{Rounds: []forecast.CrewRound{{Start: at, End: at.Add(time.Hour), Groups: []forecast.RoundGroup{{Group: "pails", Share: 1}}}}}
	}
	evening := func(day, hours int) {
		at := march.AddDate(0, 0, day)
		e := forecast.Evening{Date: at.In(site.Zone).Format(time.DateOnly), IssuedAt: at, Announced: round(hours)}
		if err := w.d.Archive.PutEvening(t.Context(), site.ID, e.Date, &e); err != nil {
			t.Fatal(err)
		}
	}
	check := func(now time.Time, hours int) {
		t.Helper()
		got, err := Told(t.Context(), w.d.Archive, site, now)
		var news ledger.NewRound
		kept := seasonOf(t.Context(), w.d.Archive, site, "here", now, ledger.NewRoundOf(site.ID, &news))
		for _, a := range []forecast.Announced{got, toldBy(kept.Evening, &news)} {
			if err != nil || len(a.Rounds) != 1 || !a.Rounds[0].Start.Equal(march.Add(time.Duration(hours)*time.Hour)) {
				t.Errorf("%s: want hour %d, got %v %+v", now, hours, err, a)
			}
		}
	}
	evening(0, 14)
	check(march.Add(time.Hour), 14)
	work := round(16)
	news := alerts.Decision{Kind: alerts.NewRound, Site: site.ID, Key: "new_round:one", Until: march.Add(20 * time.Hour), Facts: alerts.Facts{Work: &work}}
	if err := w.d.record(t.Context(), site, news, march.Add(10*time.Hour), func(*message.Words) string { return "news" }); err != nil {
		t.Fatal(err)
	}
	check(march.Add(11*time.Hour), 16)
	evening(1, 40)
	check(march.Add(25*time.Hour), 40)
}

// Who wants no messages for a while is sent on no round, as long as somebody else can go.
func TestWhoPausesIsSentNowhere(t *testing.T) {
	site := forecast.Site{Gathering: forecast.Gathering{People: []forecast.PersonName{{ID: "ann", Name: "Ann"}, {ID: "bo", Name: "Bo"}}}}
	bySettings := map[string]time.Time{}
	away := func(pauses map[string]time.Time) []records.Attendance {
		return PausedAway(&site, pauses, func(id string) time.Time { return bySettings[id] }, march)
	}
	until := march.AddDate(0, 0, 5)
	if a := away(map[string]time.Time{"bo": until}); len(a) != 1 || a[0].Person != "bo" || a[0].Kind != records.Away || !a[0].To.Equal(until) {
		t.Errorf("%+v", a)
	}
	if a := away(map[string]time.Time{"bo": march.Add(-time.Hour)}); len(a) != 0 {
		t.Errorf("the pause is over: %+v", a)
	}
	bySettings["bo"] = until.AddDate(0, 0, 1)
	if a := away(map[string]time.Time{"bo": until}); len(a) != 1 || !a[0].To.Equal(bySettings["bo"]) {
		t.Errorf("%+v", a)
	}
	if a := away(map[string]time.Time{"ann": until}); len(a) != 0 {
		t.Errorf("nobody would be left: %+v", a)
	}
}

// A boil of yesterday is booked for yesterday's evening, and the answer names the day.
func TestABoilOfYesterday(t *testing.T) {
	w := writing(t, march, func(*Settings) {})
	said := w.answers("boiled 60 L yesterday")
	book, err := House(t.Context(), w.d.Archive, &w.d.settings.Sites[0], w.at)
	if err != nil || len(book) != 1 || book[0].At.Format("2006-01-02 15:04") != "2026-03-08 20:00" || !strings.Contains(said, "Sunday 8 Mar") {
		t.Errorf("%v %+v %s", err, book, said)
	}
}
