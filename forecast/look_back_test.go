package forecast

import (
	"bytes"
	"math"
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/weather"
	"thawline/testdata"
)

// demoPast are the invented season's weather and records.
func demoPast(t testing.TB) PastInputs {
	t.Helper()
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	data, err := testdata.Files.ReadFile("weather.csv")
	if err != nil {
		t.Fatal(err)
	}
	w, _, err := weather.ReadCSV(bytes.NewReader(data), "weather.csv")
	if err != nil {
		t.Fatal(err)
	}
	if data, err = testdata.Files.ReadFile("records.csv"); err != nil {
		t.Fatal(err)
	}
	visits, err := records.ReadCSV(bytes.NewReader(data), "records.csv", zone)
	if err != nil {
		t.Fatal(err)
	}
	site := Site{ID: "kettle", Zone: zone, Place: weather.Place{LatitudeDeg: 44.62, LongitudeDeg: -72.31, ElevationM: 420},
		TreeDiameterM: 0.33,
		Groups: []Group{{ID: "ridge", Taps: 60, Method: "pail", ContainerL: 7.6},
			{ID: "hollow", Taps: 30, Method: "bag", ContainerL: 11}, {ID: "lane", Taps: 140, Method: "tubing_gravity", TankL: 568}}}
	in := PastInputs{Site: site, Weather: w, From: w.Start(), To: w.End()}
	for _, v := range visits {
		if v.CollectedAt.After(w.Start()) {
			in.Visits = append(in.Visits, v)
		}
	}
	return in
}

// What the past gave adds up: hours to days, and days to about what was
// collected, of which the yields were learnt.
func TestLookBackAddsUp(t *testing.T) {
	in := demoPast(t)
	p, err := LookBack(in)
	if err != nil {
		t.Fatal(err)
	}
	if n := in.Weather.Hours(); len(p.Hours.FlowLH.P50) != n || p.Hours.Now != n || len(p.Days) < n/24 {
		t.Fatalf("%d hours of %d, %d days", len(p.Hours.FlowLH.P50), n, len(p.Days))
	}
	hours, days, before := 0.0, 0.0, 0.0
	for _, q := range p.Hours.FlowLH.P50 {
		hours += q
	}
	for _, d := range p.Days {
		days += d.SapL.P50
		if d.Date < "2026-02-28" {
			before += d.SapL.P50
		}
		if d.Known && (d.SapL.P10 > d.SapL.P50 || d.SapL.P90 < d.SapL.P50 || d.TemperatureC.Min > d.TemperatureC.Max) {
			t.Errorf("%+v", d)
		}
	}
	if math.Abs(hours-days) > 0.01*hours+50 || before > 0.02*days {
		t.Errorf("%.0f L by hours, %.0f by days, %.0f before anything was bored", hours, days, before)
	}
	within, learnt := 0, 0
	for _, v := range p.Visits {
		if v.Why != "" || math.IsNaN(v.VolumeL) {
			continue
		}
		learnt++
		if v.ExpectedL.P10 <= v.VolumeL && v.VolumeL <= v.ExpectedL.P90 {
			within++
		}
	}
	if learnt < 8 || within < learnt*6/10 {
		t.Errorf("%d of %d visits within their range", within, learnt)
	}
}

// The hours that an outlook has of the past and those of a look back are the same
// model on the same weather.
func TestLookBackAgreesWithOutlook(t *testing.T) {
	in := demoPast(t)
	now := time.Date(2026, 3, 20, 21, 0, 0, 0, time.UTC)
	in.To = now
	in.Weather = in.Weather.Between(in.Weather.Start(), now.Add(time.Hour))
	var visits []records.Visit
	for _, v := range in.Visits {
		if v.CollectedAt.Before(now) {
			visits = append(visits, v)
		}
	}
	in.Visits = visits
	p, err := LookBack(in)
	if err != nil {
		t.Fatal(err)
	}
	whole := demoPast(t).Weather
	o, err := Make(Inputs{Site: in.Site, Visits: visits, Now: now, Seed: 1,
		Bulletin: weather.Bulletin{Source: "test", IssuedAt: now, FetchedAt: now,
			Course: whole.Between(whole.Start(), now.AddDate(0, 0, 10)), ElevationM: math.NaN()}})
	if err != nil {
		t.Fatal(err)
	}
	joined := JoinHours(&p.Hours, &o.Hours, now.AddDate(0, 0, -2), now.AddDate(0, 0, 3))
	if n := len(joined.FlowLH.P50); n != 120 || joined.Now < 47 || joined.Now > 49 {
		t.Fatalf("%d hours, now at %d", n, joined.Now)
	}
	for i := range o.Hours.Now {
		at := int(o.Hours.Start.Add(time.Duration(i)*time.Hour).Sub(p.Hours.Start) / time.Hour)
		if a, b := o.Hours.FlowLH.P50[i], p.Hours.FlowLH.P50[at]; math.Abs(a-b) > 0.02*math.Max(a, b)+0.05 {
			t.Errorf("hour %d: %g in the outlook, %g looking back", i, a, b)
		}
	}
}

// A gap in the weather is a gap in what is known, and no dry day.
func TestLookBackOverGaps(t *testing.T) {
	in := demoPast(t)
	col := in.Weather.Col(weather.TemperatureC)
	from := in.Weather.Index(time.Date(2026, 3, 16, 5, 0, 0, 0, time.UTC))
	for i := range 48 {
		col[from+i] = math.NaN()
	}
	col[from+60], col[from+61] = math.NaN(), math.NaN() // short: bridged
	p, err := LookBack(in)
	if err != nil {
		t.Fatal(err)
	}
	unknown := 0
	for _, d := range p.Days {
		if d.Date >= "2026-03-15" && d.Date <= "2026-03-19" && !d.Known {
			unknown++
			if d.SapL != (Range{}) || d.Ran {
				t.Errorf("%+v", d)
			}
		}
	}
	if unknown != 2 || !math.IsNaN(p.Hours.FlowLH.P50[from+5]) || math.IsNaN(p.Hours.FlowLH.P50[from+60]) {
		t.Errorf("%d days unknown", unknown)
	}
	empty := demoPast(t)
	clearAll(&empty.Weather)
	if p, err := LookBack(empty); err != nil || len(p.Days) != 0 {
		t.Errorf("no weather at all: %v, %d days", err, len(p.Days))
	}
	if h := JoinHours(nil, nil, in.From, in.To); len(h.FlowLH.P50) != 0 {
		t.Errorf("%d hours of nothing", len(h.FlowLH.P50))
	}
	in.Site.Groups = nil
	if _, err := LookBack(in); err == nil {
		t.Error("a site without taps")
	}
}

func clearAll(s *weather.Series) {
	for i := range s.Col(weather.TemperatureC) {
		s.Col(weather.TemperatureC)[i] = math.NaN()
	}
}

func BenchmarkLookBack(b *testing.B) {
	in := demoPast(b)
	for b.Loop() {
		if _, err := LookBack(in); err != nil {
			b.Fatal(err)
		}
	}
}
