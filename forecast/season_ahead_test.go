package forecast

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/maple"
	"thawline/forecast/records"
	"thawline/forecast/season"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// byGroup is the season of one group.
func byGroup(t *testing.T, o *Outlook, id string) *GroupSeason {
	t.Helper()
	for i := range o.Season.Groups {
		if o.Season.Groups[i].Group == id {
			return &o.Season.Groups[i]
		}
	}
	t.Fatalf("no season of group %s", id)
	return nil
}

// Two groups of one bush, of which one are red maples, differ: their sap turns earlier, is
// thinner and less of it comes; of another species the range is wider. The season ends with
// the sugar maples, and what somebody tastes of the red ones ends theirs alone.
func TestSpeciesOfTwoGroups(t *testing.T) {
	tapped := march.AddDate(0, 0, -14)
	pails := func(id string, of maple.Species) Group {
		return Group{ID: id, Taps: 50, Method: volume.Pail, ContainerL: 7.5, Tapped: tapped, Species: of}
	}
	in := Inputs{Site: bush(t), Bulletin: waves(1, 7, 14, 10), Now: march, Seed: 1}
	in.Site.Groups = []Group{pails("red", maple.Red), pails("sugar", ""), pails("other", maple.Other)}
	o := mustMake(t, in)
	red, sugar, other := byGroup(t, &o, "red"), byGroup(t, &o, "sugar"), byGroup(t, &o, "other")
	if red.End.P50 >= sugar.End.P50 || o.Season.End != sugar.End {
		t.Errorf("red until %+v, sugar until %+v, the season until %+v", red.End, sugar.End, o.Season.End)
	}
	if !(red.Brix.P50 < sugar.Brix.P50) || !(red.ToComeL.P50 < sugar.ToComeL.P50) {
		t.Errorf("red %+v of %+v °Brix, sugar %+v of %+v", red.ToComeL, red.Brix, sugar.ToComeL, sugar.Brix)
	}
	width := func(r Range) float64 { return math.Log(r.P90 / r.P10) }
	if !(width(other.Brix) > width(sugar.Brix)) || !(width(other.ToComeL) > width(red.ToComeL)) ||
		daysBetween(t, other.End) <= daysBetween(t, red.End) {
		t.Errorf("other %+v, red %+v, sugar %+v", *other, *red, *sugar)
	}
	if red.Buds.First >= sugar.Buds.First || red.Buds.P50 <= sugar.Buds.P50 {
		t.Errorf("buds of red maple %+v, of sugar maple %+v", *red.Buds, *sugar.Buds)
	}
	alone := in
	alone.Site.Groups = []Group{pails("red", maple.Red)}
	if a := mustMake(t, alone); a.Season.End != red.End || a.Season.Buds.Species != "red maple" {
		t.Errorf("red maples alone until %+v, beside others until %+v", a.Season.End, red.End)
	}

	in.Observed = []records.Observation{{Kind: records.Off, Group: "red", At: march.Add(-time.Hour)}}
	off := mustMake(t, in)
	if red := byGroup(t, &off, "red"); red.Taps != PullNow || red.ToComeL.P90 > 0 {
		t.Errorf("the red ones taste off: %+v", *red)
	}
	if s := byGroup(t, &off, "sugar"); s.Taps != LeaveIn || off.Season.Stage == season.Over {
		t.Errorf("the red ones taste off, and of the others it says %s, of the season %s", s.Taps, off.Season.Stage)
	}
}

func daysBetween(t *testing.T, e SeasonEnd) float64 {
	t.Helper()
	a, err := time.Parse(time.DateOnly, e.P10)
	b, err2 := time.Parse(time.DateOnly, e.P90)
	if err != nil || err2 != nil {
		t.Fatal(err, err2)
	}
	return b.Sub(a).Hours() / 24
}

// What taps give that are bored in a coming week: less is won the later, a hole that ends in
// vacuum tubing loses least by waiting for it, and the figures of a row agree.
func TestTapNowOrWait(t *testing.T) {
	in := Inputs{Site: bush(t), Bulletin: waves(1, 7, 14, 10), Now: march.AddDate(0, 0, -25), Seed: 1}
	in.Bulletin = moved(in.Bulletin, -25)
	in.Site.Groups = []Group{
		{ID: "pails", Taps: 50, Method: volume.Pail, ContainerL: 7.5},
		{ID: "line", Taps: 50, Method: volume.TubingGravity, TankL: 500},
		{ID: "pump", Taps: 50, Method: volume.TubingVacuum, VacuumKPa: 60, TankL: 500},
	}
	o := mustMake(t, in)
	share := map[string]float64{}
	for _, id := range []string{"pails", "line", "pump"} {
		g := byGroup(t, &o, id)
		if len(g.TapWeeks) < 4 || g.HoleDays != nil || g.TapOn == nil || g.Taps != "" {
			t.Fatalf("%s: %+v", id, *g)
		}
		if w := g.TapWeeks[0]; w.On != o.Days[0].Date || w.GainL != (Range{}) || w.EarlyL != 0 || w.SeasonL != g.ToComeL {
			t.Errorf("%s, today: %+v, to come %+v", id, w, g.ToComeL)
		}
		for i, w := range g.TapWeeks[1:] {
			if w.EarlyL < g.TapWeeks[i].EarlyL || w.EarlyL < 0 || w.LaterL < 0 || w.GainL.P10 > w.GainL.P90 {
				t.Errorf("%s: %+v after %+v", id, w, g.TapWeeks[i])
			}
			if mean := w.EarlyL - w.LaterL; mean < w.GainL.P10-1 || mean > w.GainL.P90+1 {
				t.Errorf("%s: %+v gains %.0f in the mean", id, w, mean)
			}
		}
		last := g.TapWeeks[len(g.TapWeeks)-1]
		share[id] = last.LaterL / (last.EarlyL + 1)
	}
	if !(share["pails"] > share["line"] && share["line"] > share["pump"]) {
		t.Errorf("life lost for each early litre: %v", share)
	}
	tapped := in
	tapped.Site.Groups = append([]Group{}, in.Site.Groups...)
	tapped.Site.Groups[0].Tapped = in.Now.AddDate(0, 0, -3)
	if g := byGroup(t, ptr(mustMake(t, tapped)), "pails"); len(g.TapWeeks) != 0 || g.TapOn != nil || g.HoleDays == nil || *g.HoleDays != 3 {
		t.Errorf("bored already: %+v", *g)
	}
}

func ptr[T any](v T) *T { return &v }

// moved is a bulletin some days later.
func moved(b weather.Bulletin, days int) weather.Bulletin {
	from := b.Course
	b.Course = weather.NewSeries(from.Start().AddDate(0, 0, days), from.Hours())
	for _, v := range []weather.Variable{weather.TemperatureC, weather.CloudCoverPct, weather.WindSpeedMS, weather.SurfacePressureHPa} {
		copy(b.Course.Col(v), from.Col(v))
	}
	b.IssuedAt = b.IssuedAt.AddDate(0, 0, days)
	return b
}

// What is said to come of a season, asked on 12 March, against what the weather that came
// would have brought from trees of the usual yield until their sap turned: springs of
// Madison (GHCN-Daily, US public domain), once with the place's other years known and once
// without.
func TestWhatIsToCome(t *testing.T) {
	f := beside.Open(t, "data/madison-daily-1990-2020.csv")
	days, err := weather.ReadDailyCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	days.FillGaps()
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	site := bush(t)
	site.Place, site.Zone = weather.Place{LatitudeDeg: 43.1, LongitudeDeg: -89.4, ElevationM: 260}, zone
	prior := volume.Prior(volume.Pail)
	for _, known := range []bool{true, false} {
		said, came, held, n := 0.0, 0.0, 0, 0
		for year := 1996; year <= 2020; year += 4 {
			now := time.Date(year, 3, 12, 18, 0, 0, 0, zone)
			site.Groups[0].Tapped = now.AddDate(0, 0, -14)
			truth := days.Between(now.AddDate(0, -4, 0), now.AddDate(0, 3, 0))
			hours := truth.Hourly(site.Place)
			whole, flow, _ := usualFlow(&hours, &site)
			in := Inputs{Site: site, Bulletin: weather.Bulletin{Source: "file", IssuedAt: now,
				Course: forecastOf(&whole, site.Place, now, uint64(year)), ElevationM: math.NaN()}, Now: now, Seed: uint64(year)}
			if known {
				in.Taught.Years = days
			}
			o := mustMake(t, in)
			turned := now
			for d := now; turned.Equal(now); d = d.AddDate(0, 0, 1) {
				if w, _ := season.Warmth(&truth, d); w > 144 {
					turned = d
				}
			}
			sum := 0.0
			for i := whole.Index(now); i < whole.Index(turned.AddDate(0, 0, 1)); i++ {
				sum += flow[i] * 50 * math.Exp(prior.LogMean+prior.DayLogSD*prior.DayLogSD/2)
			}
			r := o.Season.Sap.ToComeL
			said, came = said+r.P50, came+sum
			if n++; r.P10 <= sum && sum <= r.P90 {
				held++
			}
			t.Logf("%d: %+v of %+v, came %.0f until %s, end %+v", year, r, o.Season.Sap.TotalL, sum, turned.Format(time.DateOnly),
				o.Season.End)
		}
		t.Logf("other years known %v: said %.0f, came %.0f, %d of %d held", known, said, came, held, n)
		if said < 0.75*came || said > 1.35*came || held < n*7/10 {
			t.Errorf("other years known %v: said %.0f L, came %.0f L, %d of %d ranges held", known, said, came, held, n)
		}
	}
}

// The parts of a season's sap make its whole, and nothing is said of one that is over.
func TestSeasonSapAddsUp(t *testing.T) {
	in := Inputs{Site: bush(t), Bulletin: waves(1, 7, 14, 10), Now: march, Seed: 1}
	in.Site.Groups[0].Tapped = march.AddDate(0, 0, -9)
	o := mustMake(t, in)
	s := o.Season.Sap
	if !s.Whole || s.Today != 9 || len(s.Days.P50) != len(s.Good) ||
		s.From != march.In(in.Site.Zone).AddDate(0, 0, -9).Format(time.DateOnly) {
		t.Fatalf("from %s, today %d, %d days, %d", s.From, s.Today, len(s.Days.P50), len(s.Good))
	}
	last := len(s.Good) - 1
	if s.Days.P50[last] != s.TotalL.P50 || s.Good[s.Today] < 0.9 || s.Good[last] > 0.1 {
		t.Errorf("total %+v, ends at %.0f; good %.2f today, %.2f in the end", s.TotalL, s.Days.P50[last], s.Good[s.Today], s.Good[last])
	}
	for d := 1; d <= last; d++ {
		if s.Days.P50[d] < s.Days.P50[d-1] || s.Good[d] > s.Good[d-1] || s.Days.P10[d] > s.Days.P90[d] {
			t.Errorf("day %d after %d: %v, %v", d, d-1, s.Days.P50[d], s.Days.P50[d-1])
		}
	}
	if g := byGroup(t, &o, "pails"); g.ToComeL != s.ToComeL || g.Taps != LeaveIn || *g.HoleDays != 9 ||
		!(*g.HoleLeft > 0.5 && *g.HoleLeft <= 1) {
		t.Errorf("%+v beside %+v", *g, s.ToComeL)
	}
	in.Observed = []records.Observation{{Kind: records.Off, At: march.Add(-time.Hour)}}
	over := mustMake(t, in)
	if g := byGroup(t, &over, "pails"); over.Season.Sap != nil || g.Taps != PullNow || g.ToComeL != (Range{}) {
		t.Errorf("over: %+v", *g)
	}
}
