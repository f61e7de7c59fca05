package source_test

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"thawline/forecast/weather"
	"thawline/forecast/weather/source"
)

var bushPlace = weather.Place{LatitudeDeg: 44.15, LongitudeDeg: -87.72, ElevationM: math.NaN()}

// towns are two stations and the bush's own.
func towns() []weather.Station {
	nowhere := weather.Place{LatitudeDeg: math.NaN(), LongitudeDeg: math.NaN(), ElevationM: math.NaN()}
	return []weather.Station{
		{Name: "bush", Place: nowhere},
		{Name: "Madison", Place: weather.Place{LatitudeDeg: 43.1, LongitudeDeg: -89.4, ElevationM: math.NaN()}},
		{Name: "other", Place: nowhere, Service: "other"},
	}
}

// byPlace gives each station a mean temperature of its own.
func byPlace(bush, madison float64) says {
	return says{"first", func(p weather.Place, _ time.Time) float64 {
		if p.LatitudeDeg < 44 {
			return madison
		}
		return bush
	}}
}

// down is a service that is out of reach.
type down struct{ name string }

func (d down) Name() string { return d.name }

func (d down) Forecast(context.Context, source.Request) (weather.Bulletin, error) {
	return weather.Bulletin{}, errors.New("no route")
}

func mean(b *weather.Bulletin, from time.Time) float64 {
	low, high, _ := b.Course.Extremes(from, from.Add(24*time.Hour))
	return (low + high) / 2
}

func remarked(b *weather.Bulletin, kind weather.RemarkKind) (names []string) {
	for _, r := range b.Remarks {
		if r.Kind == kind {
			names = append(names, r.Name)
		}
	}
	return names
}

// A bush with several stations has their mean, whichever of them answer; one that can't be
// true beside the others is left out before the mean is taken, and the next question
// holds the first start's doubt against what was mixed before.
func TestStationsAreMixed(t *testing.T) {
	other := func(c float64) says { return says{"other", func(weather.Place, time.Time) float64 { return c }} }
	for _, c := range []struct {
		name      string
		first     source.Forecaster
		other     source.Forecaster
		want      float64
		used, out string
	}{
		{"three that agree", byPlace(1, 3), other(5), 3, "bush + Madison + other", ""},
		{"one out of reach", byPlace(1, 3), down{"other"}, 2, "bush + Madison", "other: no route"},
		{"two out of reach", down{"first"}, other(5), 5, "other", "bush: no route"},
		{"one in another unit", byPlace(1, 20), other(5), 3, "bush + other", "Madison: its temperatures lie +19 K"},
		{"the first in another unit", byPlace(20, 1), other(3), 2, "Madison + other", "bush: its temperatures lie +19 K"},
	} {
		chain := source.Chain{Forecasters: []source.Forecaster{c.first}, Others: []source.Forecaster{c.other}}
		r := request(noon)
		r.Place, r.Stations = bushPlace, towns()
		o, err := chain.Ask(t.Context(), "b", r)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if got := mean(&o.Bulletin, noon); math.Abs(got-c.want) > 0.01 || o.Kept {
			t.Errorf("%s: %.1f °C at the middle, want %.1f (kept: %v)", c.name, got, c.want, o.Kept)
		}
		if used := remarked(&o.Bulletin, weather.MixedFrom); len(used) != 1 || used[0] != c.used {
			t.Errorf("%s: mixed from %q", c.name, used)
		}
		var faults []string
		for _, a := range o.Attempts {
			faults = append(faults, a.Fault.Detail)
		}
		if all := strings.Join(faults, "; "); !strings.Contains(all, c.out) || c.out == "" && all != "" {
			t.Errorf("%s: faults %q", c.name, all)
		}
	}

	keep, err := source.NewKeep(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	r := request(noon)
	r.Place, r.Stations = bushPlace, towns()[:2]
	ask := func(at time.Time, f source.Forecaster) (source.Outcome, error) {
		r.Now = at
		chain := source.Chain{Forecasters: []source.Forecaster{f}, Keep: keep}
		return chain.Ask(t.Context(), "b", r)
	}
	if _, err := ask(noon, byPlace(1, 3)); err != nil {
		t.Fatal(err)
	}
	later := noon.Add(3 * time.Hour)
	o, err := ask(later, down{"first"})
	if err != nil || !o.Kept || math.Abs(mean(&o.Bulletin, later)-2) > 0.01 {
		t.Errorf("with every station out of reach: kept %v, %.1f °C: %v", o.Kept, mean(&o.Bulletin, later), err)
	}
}

// Of two stations that lie far apart on the first start the one named first is believed.
func TestOfTwoStrangersTheFirstIsBelieved(t *testing.T) {
	chain := source.Chain{Forecasters: []source.Forecaster{byPlace(1, 20)}}
	r := request(noon)
	r.Place, r.Stations = bushPlace, towns()[:2]
	o, err := chain.Ask(t.Context(), "b", r)
	if err != nil || math.Abs(mean(&o.Bulletin, noon)-1) > 0.01 {
		t.Errorf("%.1f °C: %v", mean(&o.Bulletin, noon), err)
	}
}

// How stations did at the bush is kept for thirty days, by its thermometer where there is
// one; one that misses about twice as far as the others is left out after some weeks, is
// said to be, and comes back when it does well again. Ten days say little, and stations
// that miss alike stay.
func TestStationsThatMissAreLeftOut(t *testing.T) {
	dir := t.TempDir()
	wild := true
	truth := func(day int) float64 { return 3 + 4*math.Sin(float64(day)*2.3) }
	service := says{"first", func(p weather.Place, now time.Time) float64 {
		day := int(now.Sub(noon).Hours() / 24)
		miss := 1.5 * math.Sin(float64(day)*1.1)
		if p.LatitudeDeg < 44 && wild {
			miss = 5 * math.Cos(float64(day)*1.7)
		}
		return truth(day+1) + miss // what is told is of tomorrow
	}}
	read := func(day string) (float64, float64, bool) {
		at, err := time.Parse(time.DateOnly, day)
		if err != nil {
			t.Error(err)
		}
		c := truth(int(math.Round(at.Sub(noon.Truncate(24*time.Hour)).Hours() / 24)))
		return c - 5, c + 5, true
	}
	var left []int
	for day := range 90 {
		wild = day < 40
		keep, err := source.NewKeep(dir) // a restart
		if err != nil {
			t.Fatal(err)
		}
		chain := source.Chain{Forecasters: []source.Forecaster{service}, Keep: keep}
		r := request(noon.AddDate(0, 0, day))
		r.Place, r.Stations, r.Read = bushPlace, towns()[:2], read
		o, err := chain.Ask(t.Context(), "b", r)
		if err != nil {
			t.Fatal(err)
		}
		if out := remarked(&o.Bulletin, weather.StationLeftOut); len(out) > 0 {
			if out[0] != "Madison" || remarked(&o.Bulletin, weather.MixedFrom)[0] != "bush" {
				t.Fatalf("day %d: %q is left out", day, out)
			}
			left = append(left, day)
		}
		for _, remark := range o.Bulletin.Remarks {
			if remark.Kind == weather.StationMissed && (remark.Of > source.RecordDays || remark.Of < 5) {
				t.Fatalf("day %d: a record of %d days", day, remark.Of)
			}
		}
	}
	if len(left) == 0 || left[0] < 8 || left[0] > 30 || left[len(left)-1] < 40 || left[len(left)-1] > 70 {
		t.Errorf("left out on days %v", left)
	}
}
