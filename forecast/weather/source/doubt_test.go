package source

import (
	"context"
	"strings"
	"testing"
	"time"

	"thawline/forecast/weather"
)

// later is the bulletin of a service some hours after, with its temperatures bent.
func later(source string, after time.Duration, bend func(i int, c float64) float64) said {
	b := bulletin(func(b *weather.Bulletin) {
		b.Source, b.IssuedAt = source, b.IssuedAt.Add(after)
		col := b.Course.Col(weather.TemperatureC)
		for i := range col {
			col[i] = bend(i, col[i])
		}
	})
	return said{name: source, b: b}
}

func same(_ int, c float64) float64 { return c }

// Forecasts change within limits, and a service does not say the same for half a
// day. What breaks that is not believed, or is as old as it was.
func TestForecastsThatCanNotFollow(t *testing.T) {
	fahrenheit := func(_ int, c float64) float64 { return 32 + 1.8*c }
	colder := func(i int, c float64) float64 { return c - 6 - float64(i%3) } // a cold front: within what happens
	for name, c := range map[string]struct {
		after    time.Duration
		services []said
		source   string
		age      time.Duration
		kept     bool
		fault    string
	}{
		"another day":                     {3 * time.Hour, []said{later("said", 3*time.Hour, colder)}, "said", time.Hour, false, ""},
		"degrees Fahrenheit":              {3 * time.Hour, []said{later("said", 3*time.Hour, fahrenheit)}, "said", 4 * time.Hour, true, "its temperatures lie +"},
		"Fahrenheit, and another is well": {3 * time.Hour, []said{later("said", 3*time.Hour, fahrenheit), later("other", 3*time.Hour, colder)}, "other", time.Hour, false, "another unit, or another place"},
		"two agree against the kept one":  {3 * time.Hour, []said{later("said", 3*time.Hour, fahrenheit), later("other", 3*time.Hour, func(i int, c float64) float64 { return fahrenheit(i, c) + 2 })}, "other", time.Hour, false, "its temperatures lie"},
		"the kept one is old":             {40 * time.Hour, []said{later("said", 40*time.Hour, fahrenheit)}, "said", time.Hour, false, ""},
		"yesterday's run again":           {20 * time.Hour, []said{later("said", 20*time.Hour, same)}, "said", 21 * time.Hour, false, ""},
		"yesterday's run for two days":    {40 * time.Hour, []said{later("said", 40*time.Hour, same)}, "said", 41 * time.Hour, true, "its forecast is 41 h old"},
		"the same three hours later":      {3 * time.Hour, []said{later("said", 3*time.Hour, same)}, "said", time.Hour, false, ""},
	} {
		t.Run(name, func(t *testing.T) {
			keep, err := NewKeep(t.TempDir())
			if err != nil {
				t.Fatal(err)
			}
			first := Chain{Forecasters: []Forecaster{later("said", 0, same)}, Keep: keep}
			if _, err := first.Ask(context.Background(), "b", ask); err != nil {
				t.Fatal(err)
			}
			chain := Chain{Keep: keep}
			for _, s := range c.services {
				chain.Forecasters = append(chain.Forecasters, s)
			}
			r := ask
			r.Now = ask.Now.Add(c.after)
			o, err := chain.Ask(context.Background(), "b", r)
			if err != nil {
				t.Fatal(err)
			}
			faults := ""
			for _, a := range o.Attempts {
				faults += a.Fault.Error()
			}
			if o.Bulletin.Source != c.source || o.Age != c.age || o.Kept != c.kept || (c.fault == "") != (faults == "") || !strings.Contains(faults, c.fault) {
				t.Errorf("from %s, %s old, kept %t, faults %q", o.Bulletin.Source, o.Age, o.Kept, faults)
			}
		})
	}
}
