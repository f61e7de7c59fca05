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
	warmer := func(_ int, c float64) float64 { return c + 15 }               // what an odd service may say, and what weather may be
	colder := func(i int, c float64) float64 { return c - 6 - float64(i%3) } // a cold front: within what happens
	for name, c := range map[string]struct {
		after    time.Duration
		services []said
		source   string
		age      time.Duration
		kept     bool
		fault    string
	}{
		"another day": {3 * time.Hour, []said{later("said", 3*time.Hour, colder)}, "said", time.Hour, false, ""},
		"degrees Fahrenheit": {3 * time.Hour, []said{later("said", 3*time.Hour, fahrenheit)}, "said", 4 * time.Hour, true,
			"another unit, or another place"},
		"another place": {3 * time.Hour, []said{later("said", 3*time.Hour, warmer)}, "said", 4 * time.Hour, true,
			"its temperatures lie +15 K"},
		"Fahrenheit, and another is well": {3 * time.Hour,
			[]said{later("said", 3*time.Hour, fahrenheit), later("other", 3*time.Hour, colder)}, "other", time.Hour, false,
			"another unit, or another place"},
		"two agree against the kept one": {3 * time.Hour,
			[]said{later("said", 3*time.Hour, warmer),
				later("other", 3*time.Hour, func(i int, c float64) float64 { return warmer(i, c) + 2 })}, "other", time.Hour, false,
			"its temperatures lie"},
		"both in degrees Fahrenheit": {3 * time.Hour,
			[]said{later("said", 3*time.Hour, fahrenheit), later("other", 3*time.Hour, fahrenheit)}, "said", 4 * time.Hour, true,
			"another unit, or another place"},
		"the kept one is old":   {40 * time.Hour, []said{later("said", 40*time.Hour, warmer)}, "said", time.Hour, false, ""},
		"yesterday's run again": {20 * time.Hour, []said{later("said", 20*time.Hour, same)}, "said", 21 * time.Hour, false, ""},
		"yesterday's run for two days": {40 * time.Hour, []said{later("said", 40*time.Hour, same)}, "said", 41 * time.Hour, true,
			"its forecast is 41 h old"},
		"the same three hours later": {3 * time.Hour, []said{later("said", 3*time.Hour, same)}, "said", time.Hour, false, ""},
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
			if o.Bulletin.Source != c.source || o.Age != c.age || o.Kept != c.kept || (c.fault == "") != (faults == "") ||
				!strings.Contains(faults, c.fault) {
				t.Errorf("from %s, %s old, kept %t, faults %q", o.Bulletin.Source, o.Age, o.Kept, faults)
			}
		})
	}
}

// A first start with a service in degrees Fahrenheit finds nothing kept to hold it
// against, and says no chance.
func TestFirstStartInFahrenheit(t *testing.T) {
	chain := Chain{Forecasters: []Forecaster{later("said", 0, func(_ int, c float64) float64 { return 32 + 1.8*c })}}
	o, err := chain.Ask(context.Background(), "b", ask)
	if err == nil || o.Bulletin.Source != "" || !strings.Contains(err.Error(), "another unit, or another place") {
		t.Errorf("from %q: %v", o.Bulletin.Source, err)
	}
}

// An ensemble in degrees Fahrenheit beside a good course, and past observations in
// degrees Fahrenheit, are left out and remarked; the course stands.
func TestPartsInFahrenheitAreLeftOut(t *testing.T) {
	fahrenheit := func(s weather.Series, from, to int) {
		for i := from; i < to; i++ {
			s.Col(weather.TemperatureC)[i] = 32 + 1.8*s.Col(weather.TemperatureC)[i]
		}
	}
	for name, c := range map[string]struct {
		spoil func(b *weather.Bulletin)
		kind  weather.RemarkKind
	}{
		"neither": {func(*weather.Bulletin) {}, ""},
		"members": {func(b *weather.Bulletin) {
			for i := range b.Members {
				fahrenheit(b.Members[i], 0, b.Members[i].Hours())
			}
		}, weather.MembersDoubted},
		"past": {func(b *weather.Bulletin) { fahrenheit(b.Course, 0, b.Course.Index(ask.Now)+1) }, weather.PastDoubted},
	} {
		b := bulletin(func(b *weather.Bulletin) {
			for range 8 {
				b.Members = append(b.Members, b.Course.Slice(100, 400))
			}
			c.spoil(b)
		})
		chain := Chain{Forecasters: []Forecaster{said{name: "said", b: b}}}
		o, err := chain.Ask(context.Background(), "b", ask)
		if err != nil {
			t.Fatal(err)
		}
		kinds := ""
		for _, r := range o.Bulletin.Remarks {
			kinds += string(r.Kind)
		}
		pastKnown := o.Bulletin.Course.At(weather.TemperatureC, 50) < 20
		if kinds != string(c.kind) || (len(o.Bulletin.Members) == 0) != (c.kind == weather.MembersDoubted) ||
			pastKnown != (c.kind != weather.PastDoubted) {
			t.Errorf("%s: %d members, past known %t, remarks %q", name, len(o.Bulletin.Members), pastKnown, kinds)
		}
		if o.Bulletin.Course.At(weather.TemperatureC, 120) != b.Course.At(weather.TemperatureC, 120) {
			t.Errorf("%s: the course to come was changed", name)
		}
		if e, err := weather.Assemble(&b, ask.Place, ask.Now, 1); err != nil || e.FromSource != (len(o.Bulletin.Members) > 0) {
			t.Errorf("%s: assembled without doubt: %v", name, err)
		}
	}
}
