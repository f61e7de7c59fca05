package season

import (
	"math"
	"strings"
	"testing"
	"time"

	"thawline/forecast/weather"
)

// A day on which progress reaches a level, and back; between days by a straight line, and no
// day outside those that are known.
func TestDayOfALevel(t *testing.T) {
	progress := make([]float64, firstOfYear+10)
	for i := range 10 {
		progress[firstOfYear+i] = 10 * float64(i+1) // day 1 has index 61
	}
	for level, want := range map[float64]float64{10: 1, 20: 2, 25: 2.5, 100: 10, 101: 10, 5: 0.5} {
		near(t, "day", dayOf(progress, level), want, 1e-9)
	}
	for doy, want := range map[float64]float64{1: 10, 2.5: 25, 10: 100, 10.5: 100, 400: 100} {
		near(t, "progress", at(progress, doy), want, 1e-9)
	}
	flat := []float64{0, 0, 5, 5, 5}
	near(t, "a step", dayOf(flat, 5), 3-firstOfYear, 1e-9)
	near(t, "reached at once", dayOf([]float64{3, 3}, 3), 1-firstOfYear, 1e-9)
	near(t, "already there", dayOf(flat, 0), 1-firstOfYear, 1e-9)
	near(t, "mean of two springs", level([]BudYear{{Year: 1, LeafDOY: 1}, {Year: 2, LeafDOY: 3}},
		map[int][]float64{1: progress, 2: progress}), 20, 1e-9)
}

// Openings that are mixed of two springs: mean, chance and quantiles of the normal law; later
// ones are as much later, and known less well.
func TestOpeningIsAMixtureOfSprings(t *testing.T) {
	o := Opening{mean: []float64{100, 110}, sd: []float64{3, 3}}
	near(t, "mean", o.Mean(), 105, 1e-9)
	near(t, "by the middle", o.CDF(105), 0.5, 1e-9)
	near(t, "by the first", o.CDF(100), (0.5+0.000429)/2, 1e-4) // normal law at -3.33, from memory
	for _, p := range []float64{0.1, 0.5, 0.9} {
		near(t, "and back", o.CDF(o.Quantile(p)), p, 1e-3)
	}
	l := o.Later(7, 4)
	near(t, "later", l.Mean(), 112, 1e-9)
	one := Opening{mean: []float64{100}, sd: []float64{3}}
	later := one.Later(-2, 4)
	near(t, "known less well", later.Quantile(0.8413)-later.Quantile(0.5), 5, 0.02) // one deviation: 3 and 4 make 5
	if o.mean[0] != 100 || o.sd[0] != 3 {
		t.Error("the opening itself has moved")
	}
}

// One spring's buds move the level four fifths of the way, since places stray twice as much
// as springs; the next ones move it less, by the textbook's formula for a normal law.
func TestANotedSpringMovesTheLevel(t *testing.T) {
	b := SugarMaple(44)
	was := b.Level
	b.Learn([]float64{1.5 * was})
	near(t, "one spring", math.Log(b.Level/was), 0.8*math.Log(1.5), 1e-9)
	b.Learn([]float64{1.5 * was, 1.5 * was})
	near(t, "three springs", math.Log(b.Level/was), 12.0/13*math.Log(1.5), 1e-9)
	near(t, "what is still not known", b.levelLogSD, 0.3/math.Sqrt(13), 1e-9)
	b.Learn(nil)
	near(t, "none", b.levelLogSD, 0.3/math.Sqrt(13), 1e-12)
	d := steady(4, 12)
	s := Spring{Known: d}
	early, ok1 := b.Noted(utc(2026, 4, 20), &s, 340)
	late, ok2 := b.Noted(utc(2026, 5, 1), &s, 340)
	if !ok1 || !ok2 || !(late > early) {
		t.Errorf("buds on 20 April at %g, on 1 May at %g", early, late)
	}
	want := 0.0
	for doy := 1; doy <= 110; doy++ { // 20 April: forcing through a day of 4 to 12 °C, weighted by its light
		f := 0.0
		for k := range 1000 {
			c := 8 - 4*math.Cos(math.Pi*(float64(k)+0.5)/1000)
			f += 28.4 / (1 + math.Exp(-0.185*(c-18.4))) / 1000
		}
		want += f * math.Pow(dayHours(doy, 44)/12, 5.5)
	}
	near(t, "level on 20 April", early, want, want/500)
	if _, ok := b.Noted(utc(2026, 4, 20), &Spring{Known: weather.NewDaily(utc(2026, 3, 5), 60)}, 340); ok {
		t.Error("a spring that is not known tells a level")
	}
}

// Buds that are learnt from springs of which each opens them at a known level are foretold on
// their own days; too few springs, or a name that is not in the list, teach nothing.
func TestBudsLearntFromMadeSprings(t *testing.T) {
	d := weather.NewDaily(utc(2017, 11, 1), 365*4)
	for i := range d.LowC {
		mean := -8 + 0.12*float64(max(d.Date(i).YearDay()-30, 0)) + 1.5*float64(d.Date(i).Year()-2019)
		d.LowC[i], d.HighC[i] = mean-6, mean+6
	}
	days, way := daysOfWinter(44), budCount()
	var seen []BudYear
	for _, year := range []int{2018, 2019, 2020, 2021} {
		w := winterBefore(year, &d, days)
		seen = append(seen, BudYear{year, "sugar maple", dayOf(way.run(&w), 300)}, BudYear{year, "red oak", math.NaN()})
	}
	seen = append(seen, BudYear{1999, "sugar maple", 120}) // of which no weather is known
	b, err := LearnBuds(" Sugar Maple ", seen, &d, 44)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "level", b.Level, 300, 0.5)
	near(t, "spread of a year", b.yearSDDays, math.Sqrt(4*3.3*3.3/8), 0.05) // four springs without any miss, and four of the prior
	near(t, "spread of the place", b.levelLogSD, 0.15/2, 1e-9)
	if len(b.Years) != 4 || b.Species != "sugar maple" || math.Abs(b.MeanDOY-(seen[0].LeafDOY+seen[2].LeafDOY+seen[4].LeafDOY+seen[6].LeafDOY)/4) > 1e-9 {
		t.Errorf("%+v", b)
	}
	cut := func(year int) []weather.Daily {
		one := weather.NewDaily(utc(year-1, 11, 1), 242)
		for i := range one.LowC {
			one.LowC[i], one.HighC[i] = d.At(d.Index(one.Date(i)))
		}
		return []weather.Daily{one}
	}
	for k, year := range []int{2018, 2019, 2020, 2021} {
		o, err := b.Opening(year, cut(year))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "opening", o.Mean(), seen[2*k].LeafDOY, 0.3)
		if width := o.Quantile(0.8413) - o.Quantile(0.5); width < b.yearSDDays || width > b.yearSDDays+2 {
			t.Errorf("%d: known to %g days", year, width)
		}
		if plain := b.PlainDOY(year, &cut(year)[0]); math.Abs(plain-seen[2*k].LeafDOY) > 6 {
			t.Errorf("%d: plain degree days say day %g, not near %g", year, plain, seen[2*k].LeafDOY)
		}
	}
	if courses := b.Courses(&d, utc(2020, 4, 1)); len(courses) != 3 {
		t.Errorf("%d courses from the other springs", len(courses))
	}
	blend, err := LearnBlend("sugar maple", seen, &d, 44)
	if err != nil {
		t.Fatal(err)
	}
	weights, best := 0.0, blend.BestFit()
	for _, c := range blend.Counts {
		weights += c.Weight
		if !(c.Level > 0 && c.RMSEDays >= 0 && c.Weight > 0) || c.FitDays < best.Counts[0].FitDays {
			t.Errorf("%+v, and the best fit is %+v", c, best.Counts[0])
		}
	}
	near(t, "all weights", weights, 1, 1e-9)
	near(t, "the blend on a spring it knows", blend.DOY(2020, &d), seen[4].LeafDOY, 1.5)
	near(t, "the best fit", best.DOY(2020, &d), seen[4].LeafDOY, 1.5)
	for name, few := range map[string][]BudYear{"sugar maple": seen[:4], "birch": seen} {
		if _, err := LearnBuds(name, few, &d, 44); err == nil || !strings.Contains(err.Error(), "at least 3 are needed") {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := LearnBlend(name, few, &d, 44); err == nil {
			t.Errorf("%s: a blend is learnt", name)
		}
	}
}

// What is no year, no day, no place and no species is named with its line, and nothing of such
// a file is taken.
func TestBudFilesThatAreNotTaken(t *testing.T) {
	const head, places = "year,species,leaf_bud_break_doy\n", "site,lat_deg,year,green_rise_doy\n"
	for text, want := range map[string]string{
		head + "1799,oak,100\n": "1799", head + "2201,oak,100\n": "2201", head + "2000.5,oak,100\n": "2000.5", head + "x,oak,100\n": "2",
		head + "2000,,100\n": "no species", head + "2000,oak,0\n": "not a day", head + "2000,oak,367\n": "not a day",
		head + "2000,oak,100\n2000,Oak,101\n": "again, as in line 2", head: "no years", "year\n": "species",
	} {
		if buds, err := ReadBuds(strings.NewReader(text), "buds.csv"); err == nil || !strings.Contains(err.Error(), want) || len(buds) > 0 {
			t.Errorf("%q: %v %v, want %s", text, buds, err, want)
		}
	}
	buds, err := ReadBuds(strings.NewReader(head+"1800,Oak,1\n2200,oak,366\n2000,oak,\n"), "buds.csv")
	if err != nil || len(buds) != 3 || buds[0] != (BudYear{1800, "oak", 1}) || !math.IsNaN(buds[2].LeafDOY) {
		t.Errorf("%v %v", buds, err)
	}
	good := "a,44,1800,1\nb,-90,2200,366\nc,90,2000,120\n"
	for text, want := range map[string]string{
		places + good + "a,44,1799,100\n": "not a year", places + good + "a,44,2201,100\n": "not a year",
		places + good + "a,44,2000.5,100\n": "not a year", places + good + "a,44,2000,0.9\n": "not a day",
		places + good + "a,44,2000,366.1\n": "not a day", places + good + "a,90.1,2000,100\n": "not a latitude",
		places + "a,44,2000,100\nb,44,2000,100\na,44,2001,100\n": "2 places", "site\n": "lat_deg",
	} {
		if got, err := ReadBudPlaces(strings.NewReader(text), "places.csv"); err == nil || !strings.Contains(err.Error(), want) || len(got) > 0 {
			t.Errorf("%q: %v %v, want %s", text, got, err, want)
		}
	}
	got, err := ReadBudPlaces(strings.NewReader(places+good+"a,44,1801,2\n"), "places.csv")
	if err != nil || len(got) != 3 || got[0].Place != "a" || got[0].LatitudeDeg != 44 || len(got[0].Seen) != 2 || got[1].Seen[0].LeafDOY != 366 {
		t.Errorf("%v %v", got, err)
	}
	if !AreBudPlaces([]byte("Site,lat\nx")) || AreBudPlaces([]byte("year,species\nsite")) || AreBudPlaces(nil) {
		t.Error("files of places and of years are taken for each other")
	}
}

// Heat of the spring so far: from 1 March on, today's not with it, none where a day is not
// known.
func TestDegreeDaysByHand(t *testing.T) {
	s := Spring{Known: steady(10, 10)}
	for on, want := range map[time.Time]float64{utc(2026, 3, 1): 0, utc(2026, 3, 2): 6, utc(2026, 3, 11): 60} {
		near(t, "degree days", s.DegreeDays(on), want, 1e-9)
	}
	s.Known.HighC[61+60+3] = math.NaN()
	if got := s.DegreeDays(utc(2026, 3, 11)); !math.IsNaN(got) {
		t.Errorf("with a day that is not known: %g", got)
	}
	near(t, "before the gap", s.DegreeDays(utc(2026, 3, 4)), 18, 1e-9)
}
