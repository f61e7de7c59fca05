package gain

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// recorded are four seasons with records: 50 pails on a hill in Massachusetts by the air of
// a forest 40 km away (CC0, Baumer et al., R package macleish; Harvard Forest HF001), and a
// bush in Wisconsin by Madison's air (a maker's public diary; GHCN-Daily).
func recorded(t *testing.T) []Season {
	t.Helper()
	hill := weather.Place{LatitudeDeg: 42.4485, LongitudeDeg: -72.6806, ElevationM: 251}
	bush := weather.Place{LatitudeDeg: 44.15, LongitudeDeg: -87.72, ElevationM: 200}
	const forest, madison = "forest-station-2012-2014-daily.csv", "madison-daily-1990-2020.csv"
	return []Season{
		seasonOf(t, "hill 2013", forest, "tap-log-2013.csv", "America/New_York", Season{Place: hill, WarmerK: 0.58, Taps: 50}),
		seasonOf(t, "hill 2014", forest, "tap-log-2014.csv", "America/New_York", Season{Place: hill, WarmerK: 0.58, Taps: 50}),
		seasonOf(t, "Wisconsin 2015", madison, "tap-visits-wisconsin-2015.csv", "America/Chicago", Season{Place: bush, Taps: 470}),
		seasonOf(t, "Wisconsin 2020", madison, "tap-visits-wisconsin-2020.csv", "America/Chicago", Season{Place: bush, Taps: 504}),
	}
}

func seasonOf(t *testing.T, name, daily, log, zone string, s Season) Season {
	t.Helper()
	var err error
	if s.Zone, err = time.LoadLocation(zone); err != nil {
		t.Fatal(err)
	}
	n, err := records.ReadNotebook(beside.Open(t, "data/"+log), log, s.Zone)
	if err != nil {
		t.Fatal(err)
	}
	d, err := weather.ReadDailyCSV(beside.Open(t, "data/"+daily), daily)
	if err != nil {
		t.Fatal(err)
	}
	d.FillGaps()
	hours := d.Hourly(s.Place)
	year := n.Visits[0].CollectedAt.Year()
	s.Name, s.Visits, s.ContainerL, s.Richer = name, n.Visits, 7.5, 1
	s.Weather = hours.Between(time.Date(year, 1, 2, 0, 0, 0, 0, time.UTC), time.Date(year, 5, 20, 0, 0, 0, 0, time.UTC))
	return s
}

func made(t *testing.T, s *Season) *season {
	t.Helper()
	out, err := ready(s)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// The draws keep what was written down, and the ageing model calls no more than one in
// twenty of what the makers carried in and boiled spoilt.
func TestDrawsKeepTheRecords(t *testing.T) {
	var carried, spoilt float64
	for _, in := range recorded(t) {
		s := made(t, &in)
		for seed := range uint64(5) {
			d := s.draw(seed)
			since := s.from
			for _, v := range in.Visits {
				r := v.Remarks()
				if !r.Emptied && (r.NotChecked || !v.Collected()) {
					continue
				}
				to := s.weather.Index(v.CollectedAt)
				if got := s.fill.Held(d[to] - d[since]); !r.Emptied && math.Abs(got-v.VolumeL*float64(s.Taps)/float64(v.Taps)) > 0.5 {
					t.Errorf("%s, draw %d, %s: %.1f L hang, %.1f were carried in", in.Name, seed, v.CollectedAt.Format(time.DateOnly),
						got, v.VolumeL)
				}
				since = to
			}
			own := s.walk(d, s.own())
			carried, spoilt = carried+s.gaveL(d)-own.lossL, spoilt+own.spoiltL
		}
	}
	t.Logf("%.1f %% of what was carried in is called spoilt", 100*spoilt/carried)
	if spoilt > 0.05*carried {
		t.Errorf("%.1f %% of what was carried in is called spoilt", 100*spoilt/carried)
	}
}

// Nobody who knows what comes loses more than any other way with as many walks; a second
// walk never costs sap; and the dynamic program finds what trying all pairs finds.
func TestForesightIsTheLeast(t *testing.T) {
	in := recorded(t)[0]
	s := made(t, &in)
	d := s.draw(3)
	s.to = s.from + 9*24 // so few that all pairs can be tried
	air := s.weather.Col(weather.TemperatureC)
	frosts := slices.Clone(air)
	for h := range air { // foresight takes all that hangs
		air[h] = max(air[h], 0)
	}
	least := s.perfect(d, 6)
	pair, single := math.Inf(1), math.Inf(1)
	for i := s.from + 1; i < s.to; i++ {
		if s.clock[i] < firstHour || s.clock[i] >= eveningHour {
			continue
		}
		single = min(single, s.walk(d, []int{i}).lossL)
		for j := i + 1; j < s.to; j++ {
			if s.clock[j] >= firstHour && s.clock[j] < eveningHour {
				pair = min(pair, s.walk(d, []int{i, j}).lossL)
			}
		}
	}
	if len(least) < 2 || math.Abs(least[1].lossL-single) > 1e-9 || len(least) > 2 && math.Abs(least[2].lossL-pair) > 1e-9 {
		t.Errorf("%+v, with one walk %.3f, with two %.3f", least, single, pair)
	}
	copy(air, frosts)
	s = made(t, &in)
	least = s.perfect(d, s.days)
	for k := 1; k < len(least); k++ {
		if least[k].lossL > least[k-1].lossL+1e-9 {
			t.Errorf("%d walks lose more than %d", k, k-1)
		}
	}
	for n := 1; n < 6; n++ {
		var hours []int
		for k, h := range s.hoursAt(habitHour) {
			if k%n == 0 {
				hours = append(hours, h)
			}
		}
		if own := s.walk(d, hours); least[min(len(hours), len(least)-1)].lossL > own.lossL+1e-9 {
			t.Errorf("every %d days loses less than foresight", n)
		}
	}
}

func TestEnvelope(t *testing.T) {
	hull := envelope([]Point{{Walks: 10, LossL: 5}, {LossL: 100}, {Walks: 5, LossL: 60}, {Walks: 4, LossL: 40}, {Walks: 20, LossL: 5},
		{Walks: 12, LossL: 1}, {Walks: 10, LossL: 9}})
	for i := 1; i < len(hull); i++ {
		if hull[i].Walks <= hull[i-1].Walks || hull[i].LossL >= hull[i-1].LossL {
			t.Errorf("%+v", hull)
		}
	}
	for walks, want := range map[float64]float64{0: 100, 2: 70, 4: 40, 7: 22.5, 12: 1, 30: 1} {
		if got := lossAt(hull, walks); math.Abs(got-want) > 1e-9 {
			t.Errorf("%.0f walks: %.2f, want %.2f", walks, got, want)
		}
	}
	if got := walksFor(hull, 40); got != 4 {
		t.Errorf("%.2f walks for 40 L", got)
	}
}

// What runs after an evening changes nothing in the walks until the next one: the plan
// knows forecasts and what walks have found, and no more.
func TestThePlanIsBlind(t *testing.T) {
	in := recorded(t)[0]
	s := made(t, &in)
	evenings, err := s.evenings(1)
	if err != nil {
		t.Fatal(err)
	}
	evenings = evenings[:20]
	d := s.draw(1)
	const k = 12
	other := slices.Clone(d)
	for i := evenings[k].hour + 1; i < len(other); i++ {
		other[i] = d[evenings[k].hour] + 3*(d[i]-d[evenings[k].hour])
	}
	a, err := s.follow(d, evenings, forecast.Gathering{})
	if err != nil {
		t.Fatal(err)
	}
	b, err := s.follow(other, evenings, forecast.Gathering{})
	if err != nil {
		t.Fatal(err)
	}
	until := evenings[k+1].hour
	before := func(hours []int) (out []int) {
		for _, h := range hours {
			if h <= until {
				out = append(out, h)
			}
		}
		return out
	}
	if len(before(a)) < 3 || !slices.Equal(before(a), before(b)) {
		t.Errorf("walks until the evening after: %v, where three times as much runs %v", before(a), before(b))
	}
	if slices.Equal(a, b) {
		t.Error("what the walks find teaches nothing")
	}
}

// Pails freeze: who goes in the morning leaves ice, that takes room until it is carried in.
func TestIceStaysBehind(t *testing.T) {
	in := recorded(t)[0]
	s := made(t, &in)
	air := s.weather.Col(weather.TemperatureC)
	for h := range air {
		if air[h] = -6; h > s.from+20 {
			air[h] = 10
		}
	}
	d := make(truth, len(air)+1)
	for h := range d {
		d[h] = min(float64(max(h-s.from, 0)), 2) // two litres in the first two hours
	}
	const perHour = 0.8 * 6 * 3600 / 333_550 // that freeze: 0.8 W/K, the heat of fusion from memory
	pails := s.hang(d)
	early := pails.visit(s.from + 12)
	late := pails.visit(s.to - 1)
	if want := 50 * (2 - 12*perHour); math.Abs(early.VolumeL-want) > 0.01 {
		t.Errorf("%.2f L carried in after twelve hours of frost, not %.2f", early.VolumeL, want)
	}
	if sum := early.VolumeL + late.VolumeL; math.Abs(sum-100) > 0.01 {
		t.Errorf("%.2f L of 100 carried in after the thaw", sum)
	}
	if one := s.walk(d, []int{s.from + 12, s.to - 1}); one.lossL > 0 {
		t.Errorf("%.2f L lost", one.lossL)
	}
}

// The one recorded season in which much runs over, and its richer twin: what the plan
// saves of what can be saved.
func TestGainOnTheHill(t *testing.T) {
	draws := 4
	if testing.Short() {
		draws = 2
	}
	r, err := Run(context.Background(), recorded(t)[:1], Options{Draws: draws, Forecasts: 2})
	if err != nil {
		t.Fatal(err)
	}
	for i := range r.Seasons {
		s := &r.Seasons[i]
		habit, ours, perfect := s.LossAt(float64(s.Days) / 3)
		t.Logf("%s: habit %.0f L, plan %.0f L, foresight %.0f L of %.0f; as it is set %.1f walks, %.0f L, value %.2f", s.Name, habit,
			ours, perfect, s.SapL, s.Usual.Walks, s.Usual.LossL, *s.UsualValue)
		for _, p := range s.Curves.Ours {
			if least := lossAt(envelope(s.Curves.Perfect), p.Walks); p.LossL < least-1e-6 {
				t.Errorf("%s: %.1f walks lose %.2f L, with foresight %.2f L", s.Name, p.Walks, p.LossL, least)
			}
		}
		if s.WorseAtHalf > 0.01 || s.WorseAtThird > 0.01 {
			t.Errorf("%s: the plan loses %.3f of the sap more than habit", s.Name, max(s.WorseAtHalf, s.WorseAtThird))
		}
	}
	o := r.Overflow
	t.Logf("value %.2f, as it is set %.2f and %.2f; warnings: %.2f told, %.2f false, %.0f h, %.0f light; with a word %.2f, %.2f",
		*r.Recorded, *r.RecordedUsual, *r.TwinsUsual, o.Hits, o.False, o.NoticeH, o.DaylightH, o.WordHits75, o.WordFalse75)
	if *r.Recorded < 0.4 || *r.RecordedUsual < 0.55 || *r.TwinsUsual < 0.5 {
		t.Errorf("value %.2f, as it is set %.2f and %.2f", *r.Recorded, *r.RecordedUsual, *r.TwinsUsual)
	}
	if o.Hits < 0.6 || o.False > 0.4 || o.NoticeH < 12 || o.DaylightH < 3 || len(o.Bins) < 5 {
		t.Errorf("warnings: %.2f told, %.0f h, %.0f light", o.Hits, o.NoticeH, o.DaylightH)
	}
}

func TestBrokenTables(t *testing.T) {
	const head = "name,weather,records,latitude,longitude,zone,taps,container_l,from,to\n"
	for text, want := range map[string]string{
		"name,weather\n": "no column records",
		head + "a,w.csv,r.csv,44,-72,Mars,50,7.5,,\n":                                   "f.csv:2: zone: Mars: no such time zone",
		head + "a,w.csv,r.csv,94,-72,America/New_York,50,7.5,,\n":                       "name no place",
		head + "a,w.csv,r.csv,44,-72,America/New_York,,0,,\n":                           "container_l: no volume",
		head + "a,w.csv,,44,-72,America/New_York,50,7.5,,\n":                            "f.csv:2: from",
		head + "a,,r.csv,44,-72,America/New_York,50,7.5,,\n":                            "name an hourly or a daily weather file",
		head + "a,w.csv,,44,-72,America/New_York,50,7.5,2015-03-01,2015-04-18\nb,,,,,,": "f.csv:3",
	} {
		if _, err := ReadTable(strings.NewReader(text), "f.csv"); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
}
