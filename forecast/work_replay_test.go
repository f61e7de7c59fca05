package forecast

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"thawline/forecast/boil"
	"thawline/forecast/records"
	"thawline/forecast/rounds"
	"thawline/forecast/sap"
	"thawline/forecast/trunk"
	"thawline/forecast/weather"
	"thawline/testdata"
	"thawline/testdata/beside"
)

// hanging is what stands at one group of taps in truth, by fifths of its taps.
type hanging struct {
	group *Group
	held  [5]float64 // litres a tap
	used  float64    // share of its life that the oldest sap has used up
	lossL float64
}

func (h *hanging) hour(flowL, airC float64) {
	taps := float64(h.group.Taps)
	for k := range h.held {
		h.held[k] += flowL * unlike[k]
		if full := h.group.ContainerL; full > 0 && h.held[k] > full {
			h.lossL += (h.held[k] - full) * taps / 5
			h.held[k] = full
		}
	}
	if full := h.group.TankL; full > 0 && h.litres() > full {
		h.lossL += h.litres() - full
		for k := range h.held {
			h.held[k] = full / taps
		}
	}
	if h.litres() > 0.1*taps {
		h.used += rounds.LifePerHour(airC, rounds.PailHygiene)
	}
}

func (h *hanging) litres() float64 {
	sum := 0.0
	for _, l := range h.held {
		sum += l * float64(h.group.Taps) / 5
	}
	return sum
}

// empty takes a share out; what has gone bad is lost.
func (h *hanging) empty(share float64) float64 {
	litres := h.litres() * share
	for k := range h.held {
		h.held[k] *= 1 - share
	}
	if h.used >= 1 {
		h.lossL += litres
	}
	if share > 0.99 {
		h.used = 0
	}
	return litres
}

// worked is one bush over one stretch of weather.
type worked struct {
	name     string
	site     Site
	truth    weather.Series
	from, to time.Time
	yield    float64 // of a usual tap's
	runDays  int
	gathers  int
	lossL    float64
	without  float64
	evenings int
	house    book
	gathered int // days on which somebody goes
	storms   []issued
	inStorm  int // rounds planned in a severe one
	classes  []records.ClassVisit
}

// helpersOfSeven are hours of invented people, some by day, some after school.
func helpersOfSeven() (free []Free, people []PersonName) {
	for i, id := range []string{"ash", "birch", "cedar", "elm", "fir", "larch", "oak"} {
		people = append(people, PersonName{ID: id, Name: id})
		for d := time.Sunday; d <= time.Saturday; d++ {
			weekend := d == time.Saturday || d == time.Sunday
			switch {
			case i == 0:
				free = append(free, Free{id, d, 8 * time.Hour, 17 * time.Hour})
			case weekend:
				free = append(free, Free{id, d, 9 * time.Hour, 15 * time.Hour})
			case i < 4 && int(d)%3 == i%3:
				free = append(free, Free{id, d, 15 * time.Hour, 19 * time.Hour})
			}
		}
	}
	return free, people
}

// large is an invented bush of 480 taps in six groups, with a gathering tank of 60 US
// gallons and seven helpers.
func large(t *testing.T, place weather.Place, tapped time.Time) Site {
	t.Helper()
	site := bush(t)
	site.Place, site.Groups = place, nil
	for i, taps := range []int{120, 100, 80, 70, 60, 50} {
		site.Groups = append(site.Groups, Group{ID: fmt.Sprintf("row-%d", i+1), Taps: taps, Method: "pail", ContainerL: 15, Tapped: tapped})
	}
	site.Gathering.TankL = 227 // 60 US gallons
	site.Boiling.Pan = boil.Pan{Kind: boil.Flue, AreaM2: 2.2}
	site.Gathering.Free, site.Gathering.People = helpersOfSeven()
	return site
}

func replays(t *testing.T) []*worked {
	t.Helper()
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	f := beside.Open(t, "data/hill-station-2015-hourly.csv")
	hill, _, err := weather.ReadCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	data, err := testdata.Files.ReadFile("weather.csv")
	if err != nil {
		t.Fatal(err)
	}
	invented, _, err := weather.ReadCSV(bytes.NewReader(data), "weather.csv")
	if err != nil {
		t.Fatal(err)
	}
	ridge, kettle := weather.Place{LatitudeDeg: 42.4485, LongitudeDeg: -72.6806, ElevationM: 251},
		weather.Place{LatitudeDeg: 44.62, LongitudeDeg: -72.31, ElevationM: 420}
	march15, march26 := time.Date(2015, 3, 1, 8, 0, 0, 0, zone), time.Date(2026, 3, 1, 8, 0, 0, 0, zone)
	small := bush(t)
	small.Place = ridge
	small.Groups = []Group{{ID: "pails", Taps: 50, Method: "pail", ContainerL: 7.5, Tapped: march15}}
	demo := bush(t)
	demo.Place = kettle
	demo.Groups = []Group{{ID: "ridge", Taps: 60, Method: "pail", ContainerL: 7.6, Tapped: march26},
		{ID: "lane", Taps: 140, Method: "tubing_gravity", TankL: 568, Tapped: march26}}
	until15, until26 := time.Date(2015, 4, 18, 0, 0, 0, 0, zone), time.Date(2026, 4, 5, 0, 0, 0, 0, zone)
	list := []*worked{
		{name: "hill 2015, 50 pails", site: small, truth: hill, from: march15, to: until15, yield: 1.5},
		{name: "demonstration, two groups", site: demo, truth: invented, from: march26, to: until26, yield: 1},
	}
	list = append(list, springsByDailyAir(t, small)...)
	return append(list,
		&worked{name: "hill 2015, 480 taps", site: large(t, ridge, march15), truth: hill, from: march15, to: until15, yield: 1},
		&worked{name: "demonstration, 480 taps", site: large(t, kettle, march26), truth: invented, from: march26, to: until26, yield: 1})
}

// springsByDailyAir are those of the other tap logs, by daily lows and highs: the hill of
// 2013 and 2014 by Harvard Forest's air (HF001, Boose; 0.58 K warmer), Wisconsin in 2015 and
// 2020 by Madison's (GHCN-Daily, US public domain).
func springsByDailyAir(t *testing.T, small Site) (list []*worked) {
	t.Helper()
	central, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	dairy := small
	dairy.Place, dairy.Zone = weather.Place{LatitudeDeg: 44.15, LongitudeDeg: -87.72, ElevationM: 200}, central
	const forest, madison = "data/forest-station-2012-2014-daily.csv", "data/madison-daily-1990-2020.csv"
	for _, s := range []struct {
		name, file string
		site       Site
		warmerK    float64
		year, day  int
	}{
		{"hill 2013, 50 pails", forest, small, 0.58, 2013, 22},
		{"hill 2014, 50 pails", forest, small, 0.58, 2014, 19},
		{"Wisconsin 2015, 50 pails", madison, dairy, 0, 2015, 28},
		{"Wisconsin 2020, 50 pails", madison, dairy, 0, 2020, 28},
	} {
		f := beside.Open(t, s.file)
		days, err := weather.ReadDailyCSV(f, f.Name())
		if err != nil {
			t.Fatal(err)
		}
		days.FillGaps()
		tapped := time.Date(s.year, time.February, s.day, 8, 0, 0, 0, s.site.Zone)
		truth := days.Hourly(s.site.Place)
		truth = truth.Between(tapped.AddDate(0, -3, 0), tapped.AddDate(0, 3, 0))
		for i := range truth.Hours() {
			truth.Col(weather.TemperatureC)[i] += s.warmerK
		}
		s.site.Groups = slices.Clone(s.site.Groups)
		s.site.Groups[0].Tapped = tapped
		list = append(list, &worked{name: s.name, site: s.site, truth: truth, from: tapped, to: tapped.AddDate(0, 0, 49), yield: 1.5})
	}
	return list
}

// Whole seasons worked by the plan, made anew each morning and evening from forecasts with
// the errors that forecasts have: hill 2015 (CC0, Baumer et al., R package macleish), the
// springs of the other tap logs, the invented season, and an invented bush of 480 taps. Every
// decision can be carried out, and following it loses little.
func TestWorkOverSeasons(t *testing.T) {
	if testing.Short() {
		t.Skip("seasons are lived through in the long pass")
	}
	list := replays(t)
	t.Cleanup(func() {
		for _, w := range list {
			t.Logf("%-26s %2d evenings, %2d run days, %2d of them with a round, %3d visits to groups, lost %5.0f L, %5.0f L if nobody goes; %3d times boiled, %5.0f L, %4.0f L tipped out of the stock", w.name, w.evenings, w.runDays, w.gathered, w.gathers, w.lossL, w.without, w.house.fires, w.house.boiledL, w.house.tippedOut)
		}
	})
	for _, w := range list {
		t.Run(w.name, func(t *testing.T) {
			t.Parallel()
			w.play(t)
			if 4*w.gathered < w.runDays {
				t.Errorf("rounds on %d of %d run days", w.gathered, w.runDays)
			}
			if w.lossL > 0.6*w.without {
				t.Errorf("lost %.0f L, %.0f L if nobody goes", w.lossL, w.without)
			}
		})
	}
}

// play lives through the season, hour by hour.
func (w *worked) play(t *testing.T) {
	t.Helper()
	zone := w.site.Zone
	whole := w.truth.Slice(0, w.truth.Hours())
	whole.FillGaps()
	whole.Complete(w.site.Place)
	flow := flowInTruth(&whole, &w.site)
	var groups, alone []hanging
	for g := range w.site.Groups {
		groups, alone = append(groups, hanging{group: &w.site.Groups[g]}), append(alone, hanging{group: &w.site.Groups[g]})
	}
	var visits []records.Visit
	var todo []CrewRound
	var last *Outlook
	today, went := 0.0, false
	for i := whole.Index(w.from); i+1 < whole.Hours() && whole.Time(i).Before(w.to); i++ {
		for g := range groups {
			groups[g].hour(w.yield*flow[g][i], whole.At(weather.TemperatureC, i))
			alone[g].hour(w.yield*flow[g][i], whole.At(weather.TemperatureC, i))
			today += w.yield * flow[g][i] * float64(w.site.Groups[g].Taps)
		}
		at := whole.Time(i + 1).In(zone)
		for len(todo) > 0 && !todo[0].Start.After(at) {
			for _, load := range todo[0].Groups {
				g := slices.IndexFunc(groups, func(h hanging) bool { return h.group.ID == load.Group })
				litres := groups[g].empty(load.Share)
				visits = append(visits, records.Visit{Group: load.Group, CollectedAt: at,
					Taps: int(load.Share*float64(groups[g].group.Taps) + 0.5), VolumeL: litres, BrixPct: math.NaN()})
				w.house.haveL += litres
				w.gathers++
				went = true
			}
			todo = todo[1:]
		}
		switch at.Hour() {
		case 0:
			if today > 0.5*float64(w.site.Taps()) {
				w.runDays++
			}
			if went {
				w.gathered++
			}
			today, went = 0, false
		case 7, 18:
			w.house.boilAsPlanned(last, at)
			o := w.outlook(t, &whole, at, visits)
			w.check(t, o)
			w.house.check(t, w.name, o)
			last = o
			if todo = o.Work.Rounds; at.Hour() == 18 {
				w.evenings++
			}
		}
	}
	for g := range groups {
		w.lossL, w.without = w.lossL+groups[g].lossL, w.without+alone[g].lossL
		if alone[g].used >= 1 { // it hangs, and has gone bad
			w.without += alone[g].litres()
		}
	}
}

func (w *worked) outlook(t *testing.T, truth *weather.Series, now time.Time, visits []records.Visit) *Outlook {
	t.Helper()
	course := forecastOf(truth, w.site.Place, now, uint64(now.Unix()))
	o, err := Make(Inputs{Site: w.site, Bulletin: weather.Bulletin{Source: "file", IssuedAt: now, Course: course,
		ElevationM: math.NaN()}, Visits: visits, House: w.house.entries, Classes: w.classes, Watch: watchAt(w.storms, now), Now: now,
		Seed: uint64(now.Unix())})
	if err != nil {
		t.Fatal(err)
	}
	return &o
}

// check holds a decision against what can be: light, hours, room, and itself.
func (w *worked) check(t *testing.T, o *Outlook) {
	t.Helper()
	const civilDeg = -6
	for i := range o.Work.Rounds {
		r := &o.Work.Rounds[i]
		for _, one := range watchAt(w.storms, o.IssuedAt).List {
			if one.Severe() && one.To.After(o.IssuedAt) && r.Start.Before(one.To) && r.End.After(one.From) {
				w.inStorm++
			}
		}
	}
	inLight := func(what string, at time.Time) {
		if weather.SunAt(at, w.site.Place.LatitudeDeg, w.site.Place.LongitudeDeg).ElevationDeg < civilDeg {
			t.Errorf("%s, %s: %s in the dark, %s", w.name, o.IssuedAt, what, at)
		}
	}
	for i := range o.Work.Groups {
		g := &o.Work.Groups[i]
		if g.CapacityL != nil && (g.HeldL.P90+g.IceL > *g.CapacityL+0.1 || g.VolumeL != nil && g.VolumeL.P90 > *g.CapacityL+0.1) {
			t.Errorf("%s, %s: %s holds more than it can: %+v", w.name, o.IssuedAt, g.Group, *g)
		}
		if g.Decision != Gather {
			continue
		}
		inLight("a start", *g.GoAt)
		inLight("a deadline", *g.Latest)
		if !slices.ContainsFunc(o.Work.Rounds, func(r CrewRound) bool {
			return r.Start.Equal(*g.GoAt) && slices.ContainsFunc(r.Groups, func(l RoundGroup) bool { return l.Group == g.Group })
		}) {
			t.Errorf("%s, %s: no round goes to %s at %s", w.name, o.IssuedAt, g.Group, g.GoAt)
		}
		if carried := nextCarried(o, g.Group); math.Abs(carried-g.VolumeL.P50) > 0.2 {
			t.Errorf("%s, %s: rounds carry in %.1f L of %s, its own line says %.1f", w.name, o.IssuedAt, carried, g.Group, g.VolumeL.P50)
		}
		if g.Latest.Before(*g.GoAt) || g.Why == "" {
			t.Errorf("%s, %s: %+v", w.name, o.IssuedAt, *g)
		}
	}
	for _, r := range o.Work.Rounds {
		for _, g := range r.Groups {
			if g.LowL > g.VolumeL+0.1 || g.VolumeL > g.HighL+0.1 {
				t.Errorf("%s, %s: a round carries in %+v", w.name, o.IssuedAt, g)
			}
		}
		if r.Start.Before(o.IssuedAt) || !r.End.After(r.Start) {
			t.Errorf("%s, %s: a round from %s to %s", w.name, o.IssuedAt, r.Start, r.End)
		}
		inLight("an end", r.End)
	}
	coming, carried := o.Work.Coming()
	sum := 0.0
	for _, r := range coming {
		sum += r.SapL()
	}
	if next, due := o.Work.Next(); math.Abs(sum-carried.P50) > 0.01 || len(next) > 0 && (len(coming) == 0 || !coming[0].Start.Equal(*next[0].GoAt)) ||
		due && slices.ContainsFunc(coming, func(r CrewRound) bool { return !r.Start.Before(o.Work.Until) }) {
		t.Errorf("%s, %s: coming rounds carry in %.1f L, they say %+v, from %v", w.name, o.IssuedAt, sum, carried, coming)
	}
	if o.Work.LossL > o.Work.Without+0.1 {
		t.Errorf("%s, %s: %.1f L lost with the plan, %.1f without", w.name, o.IssuedAt, o.Work.LossL, o.Work.Without)
	}
}

// nextCarried is what the rounds that empty a group next carry in from it, litres.
func nextCarried(o *Outlook, group string) (litres float64) {
	share := 0.0
	for _, r := range o.Work.Rounds {
		for _, g := range r.Groups {
			if g.Group == group && share < 0.999 {
				share, litres = share+g.Share, litres+g.VolumeL
			}
		}
	}
	return litres
}

// flowInTruth is what a usual tap of each group gave, litres an hour.
func flowInTruth(whole *weather.Series, site *Site) [][]float64 {
	tree := trunk.NewTree(site.TreeDiameterM, site.Exposure, site.Place)
	state := tree.Rest(-5)
	wood := make([]trunk.Hour, whole.Hours())
	tree.Run(&state, whole, weather.Suns(whole, site.Place), wood)
	flows := make([][]float64, len(site.Groups))
	for g := range site.Groups {
		flows[g] = make([]float64, len(wood))
		from := max(whole.Index(site.Groups[g].Tapped), 0)
		var tap sap.State
		sap.Usual.Run(&tap, wood[from:], site.Groups[g].VacuumKPa, flows[g][from:])
	}
	return flows
}
