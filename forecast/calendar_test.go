package forecast

import (
	"testing"
	"time"

	"thawline/forecast/weather"
)

// Every hour lies on its local date, and each date has as many hours as its clocks
// show: against Go's own time zones, counted hour by hour, through changes at
// midnight, by half an hour, by two hours, and rules that were given up.
func TestHoursOfLocalDates(t *testing.T) {
	for _, c := range []struct {
		zone string
		from time.Time
	}{
		{"America/New_York", time.Date(2026, 3, 5, 12, 0, 0, 0, time.UTC)},
		{"America/New_York", time.Date(2026, 10, 28, 12, 0, 0, 0, time.UTC)},
		{"America/St_Johns", time.Date(2026, 3, 5, 12, 0, 0, 0, time.UTC)},
		{"America/Havana", time.Date(2026, 3, 5, 12, 0, 0, 0, time.UTC)},
		{"Africa/Cairo", time.Date(2026, 4, 20, 12, 0, 0, 0, time.UTC)}, {"Asia/Beirut", time.Date(2026, 3, 26, 12, 0, 0, 0, time.UTC)},
		{"Australia/Lord_Howe", time.Date(2026, 4, 2, 12, 0, 0, 0, time.UTC)},
		{"Antarctica/Troll", time.Date(2026, 3, 26, 12, 0, 0, 0, time.UTC)},
		{"America/Sao_Paulo", time.Date(2018, 11, 1, 12, 0, 0, 0, time.UTC)},
		{"Europe/Moscow", time.Date(2011, 3, 24, 12, 0, 0, 0, time.UTC)},
		{"America/Toronto", time.Date(2028, 2, 26, 12, 0, 0, 0, time.UTC)}, {"Asia/Tokyo", time.Date(2026, 12, 29, 12, 0, 0, 0, time.UTC)},
		{"America/Winnipeg", time.Date(2006, 3, 30, 12, 0, 0, 0, time.UTC)}, // the first Sunday of April, then
	} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		e := weather.Ensemble{Past: weather.NewSeries(c.from.Add(-47*time.Hour), 48),
			Futures: []weather.Series{weather.NewSeries(c.from.Add(time.Hour), 8*24)}}
		calendar := newCalendar(c.from, zone, &e)
		counted := map[string]int{}
		for h, day := range calendar.futureDay {
			at := e.Futures[0].Time(h)
			date := at.In(zone).Format(time.DateOnly)
			if day < 0 {
				if h < 6*24 {
					t.Errorf("%s: %s is on no day", c.zone, at)
				}
				continue
			}
			if shown := calendar.dates[day].Format(time.DateOnly); shown != date {
				t.Errorf("%s: %s is on %s, put on %s", c.zone, at, date, shown)
			}
			counted[date]++
		}
		for date, n := range counted {
			hours := 0
			for at := e.Futures[0].Start(); at.Before(e.Futures[0].End()); at = at.Add(time.Hour) {
				if at.In(zone).Format(time.DateOnly) == date {
					hours++
				}
			}
			if n != hours {
				t.Errorf("%s: %s has %d hours, %d are on it", c.zone, date, hours, n)
			}
		}
	}
}
