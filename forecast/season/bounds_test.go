package season

import (
	"math"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"thawline/forecast/weather"
)

func utc(year, month, day int) time.Time {
	return time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC)
}

// steady is a winter and spring of 2026 of one temperature, from 1 November to 30 June.
func steady(low, high float64) weather.Daily {
	d := weather.NewDaily(utc(2025, 11, 1), 242)
	for i := range d.LowC {
		d.LowC[i], d.HighC[i] = low, high
	}
	return d
}

// runsOn is a spring whose last day of frost and thaw is one of its year.
func runsOn(doys ...int) weather.Daily {
	d := steady(5, 12)
	for _, doy := range doys {
		d.LowC[60+doy], d.HighC[60+doy] = -1, 4 // just enough
	}
	return d
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %g, want %g", what, got, want)
	}
}

// A run needs a frost of a degree and a thaw of four (common practice): a tenth less of
// either is none.
func TestWhatIsNoRun(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		want      bool
	}{{-1, 4, true}, {-0.9, 4, false}, {-1, 3.9, false}, {-9, 12, true}, {2, 12, false}, {-9, -2, false}} {
		if got := RunsBy(c.low, c.high); got != c.want {
			t.Errorf("%g to %g runs: %t", c.low, c.high, got)
		}
	}
}

// The belief of four springs, of which each is a quarter: chances by hand, before the year,
// after it, on the day and between.
func TestChancesOfDates(t *testing.T) {
	now := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	d := LastRuns(now, []weather.Daily{runsOn(30, 100), runsOn(105), runsOn(110), runsOn(124, 125)})
	day := func(doy int) time.Time { return utc(2026, 1, doy) }
	for doy, want := range map[int]float64{-300: 0, 0: 0, 1: 0, 30: 0, 99: 0, 100: 0.25, 104: 0.25, 105: 0.5, 110: 0.75, 123: 0.75,
		124: 1, 181: 1, 300: 1} { // no run is looked for from 5 May on, day 125
		near(t, "by day", d.By(day(doy)), want, 1e-12)
	}
	end := d.End()
	for name, c := range map[string]struct {
		got  time.Time
		want int
	}{"a quarter": {d.Quantile(0.25), 100}, "a little more": {d.Quantile(0.26), 105}, "certain": {d.Quantile(1), 124},
		"more than certain": {d.Quantile(1.5), 181}, "end, early": {end.P10, 100}, "end, middle": {end.P50, 105}, "end, late": {end.P90, 124}} {
		if c.got.YearDay() != c.want {
			t.Errorf("%s: day %d, want %d", name, c.got.YearDay(), c.want)
		}
	}
	after, before := d.After(day(105)), d.Before(day(110))
	for doy, want := range map[int][2]float64{99: {0, 0}, 100: {0, 1.0 / 3}, 105: {0, 2.0 / 3}, 109: {0, 2.0 / 3}, 110: {0.5, 1},
		124: {1, 1}} {
		near(t, "after day 105", after.By(day(doy)), want[0], 1e-12)
		near(t, "before day 110", before.By(day(doy)), want[1], 1e-12)
	}
	gone := d.After(day(130)) // of what must have happened, it happens on the next day
	near(t, "all gone", gone.By(day(130)), 0, 0)
	near(t, "all gone, a day later", gone.By(day(131)), 1, 0)
	none := d.Before(day(50))
	near(t, "of what can't be", none.By(day(49)), 1, 0)
	for doy, want := range map[int][3]float64{ // so many days later
		99: {0, 0, 0.25}, 100: {0, 0.125, 0.25}, 101: {0, 0.25, 0.25}, 102: {0.25, 0.25, 0.5}, 107: {0.5, 0.5, 0.75}, 181: {1, 1, 1}} {
		for k, days := range []float64{2, 0.5, -3} {
			s := d.Shift(days)
			near(t, "moved", s.By(day(doy)), want[k], 1e-12)
		}
	}
	first := newDates(now)
	for i := range first.by {
		first.by[i] = 1 // certain on New Year's Day
	}
	half := first.Shift(0.5)
	near(t, "half a day after New Year's Day", half.By(day(1)), 0.5, 1e-12)
	near(t, "and then", half.By(day(2)), 1, 1e-12)
	sooner := d.Shift(-0.25)
	near(t, "a quarter of a day sooner", sooner.By(day(99)), 0.0625, 1e-12)
	late := d.Shift(400)
	near(t, "moved out of the year", late.By(day(181)), 0, 0)
	if NoMoreRuns(&d, day(123)) || !NoMoreRuns(&d, day(124)) {
		t.Error("no more runs are said before the last, or not with it")
	}
}

// A spread of one and a half days leaves the middle and the whole as they are, and is the
// normal law's: 68 of 100 within one deviation, 95 within two.
func TestSpreadIsNormal(t *testing.T) {
	d := newDates(utc(2026, 3, 1))
	for i := 99; i < lastDay; i++ {
		d.by[i] = 1
	}
	d.blur(3)
	for doy, want := range map[int]float64{80: 0, 94: 0.0334, 97: 0.2023, 99: 0.4338, 100: 0.5662, 103: 0.8413 + 0.0377, 106: 0.9848, 140: 1} {
		near(t, "spread", d.By(utc(2026, 1, doy)), want, 0.008) // normal law, half a day on: NIST tables, from memory
	}
	for i := 1; i < lastDay; i++ {
		if d.by[i] < d.by[i-1]-1e-12 || d.by[i] > 1+1e-12 {
			t.Fatalf("day %d: %g after %g", i+1, d.by[i], d.by[i-1])
		}
	}
}

// Each stage begins on its day and not on the one before.
func TestStagesBeginOnTheirDays(t *testing.T) {
	end := End{P10: utc(2026, 4, 1), P50: utc(2026, 4, 10), P90: utc(2026, 4, 20)}
	second := time.Second
	for _, c := range []struct {
		at   time.Time
		want Stage
	}{
		{utc(2026, 2, 19).Add(-second), Before}, {utc(2026, 2, 19), Opened}, // 36 and 14 days before the end
		{utc(2026, 4, 1), Opened}, {utc(2026, 4, 1).Add(second), Late}, {utc(2026, 4, 21), Late}, {utc(2026, 4, 21).Add(second), Over},
	} {
		if got := StageAt(c.at, end); got != c.want {
			t.Errorf("%s is %s, want %s", c.at, got, c.want)
		}
	}
	good, last := newDates(utc(2026, 3, 1)), newDates(utc(2026, 3, 1))
	for i := range good.by { // a tenth from day 90 on, half from 100, four fifths from 110; the last run by day 120
		switch doy := i + 1; {
		case doy >= 110:
			good.by[i] = 0.8
		case doy >= 100:
			good.by[i] = 0.5
		case doy >= 90:
			good.by[i] = 0.1
		}
		if i+1 >= 120 {
			last.by[i] = 0.9
		}
	}
	for _, c := range []struct {
		doy    int
		likely bool
		want   Stage
	}{
		{49, false, Before}, {50, false, Opened}, {89, false, Opened}, {90, false, Late}, {109, false, Late}, {110, true, Late},
		{110, false, Over}, {151, true, Late}, {152, true, Over}, {152, false, Over},
	} {
		if got := StageOf(utc(2026, 1, c.doy), &good, &last, c.likely); got != c.want {
			t.Errorf("day %d, a run likely %t: %s, want %s", c.doy, c.likely, got, c.want)
		}
	}
	few := newDates(utc(2026, 3, 1)) // sap that stays good: no more runs end it
	for i := 99; i < lastDay; i++ {
		few.by[i] = 0.5
	}
	if StageOf(utc(2026, 1, 119), &few, &last, false) != Late || StageOf(utc(2026, 1, 120), &few, &last, false) != Over {
		t.Error("the last run does not end the season on its day")
	}
	if MayTap(utc(2026, 1, 35), &few) || !MayTap(utc(2026, 1, 36), &few) { // 36 and 28 days before the middle
		t.Error("boring is spoken of before four weeks before the start, or not from then on")
	}
}

// The usual end by hand: 3.5 days a degree and a day in 30 m from day 94 at 42.45° and 250 m;
// one season in ten outside each of the outer dates (normal law: 1.2816 deviations).
func TestUsualEndByHand(t *testing.T) {
	for _, c := range []struct{ latitude, elevation, day float64 }{
		{42.45, 250, 94}, {44.45, 250, 101}, {40.45, 250, 87}, {42.45, 310, 96}, {42.45, 190, 92}, {42.45, math.NaN(), 94}, {-44.45, 250, 101},
	} {
		near(t, "end", usualEndDay(c.latitude, c.elevation), c.day, 1e-9)
	}
	end := UsualEnd(42.45, 250, utc(2026, 3, 1))
	if end.P10.YearDay() != 84 || end.P50.YearDay() != 94 || end.P90.YearDay() != 104 {
		t.Errorf("%v", end)
	}
}

// The warmth at which seasons end is lognormal by what the package says: around 144 K d with
// 0.2 of places and 0.13 of years. Quantiles by the normal law's own (0.1: -1.2816).
func TestWarmthAtTheEndIsLognormal(t *testing.T) {
	g, weak := UsualGoodSap(), GoodSapAt(0.5, 0.15)
	near(t, "middle", g.Quantile(0.5), 144, 1)
	near(t, "one in ten", g.Quantile(0.1), 144*math.Exp(-1.2816*math.Hypot(0.2, 0.13)), 2)
	near(t, "nine in ten", g.Quantile(0.9), 144*math.Exp(1.2816*math.Hypot(0.2, 0.13)), 3)
	near(t, "half the warmth", weak.Quantile(0.5), 72, 1)
	near(t, "half the warmth, nine in ten", weak.Quantile(0.9), 72*math.Exp(1.2816*math.Hypot(0.25, 0.13)), 3)
	// Learnt ends: the mean of a normal law whose spread is known, by the textbook's formula.
	for range 4 {
		g.Learn(200, false)
	}
	share := 4 / 0.0169 / (4/0.0169 + 1/0.04)
	sd := math.Sqrt(1 / (4/0.0169 + 1/0.04))
	near(t, "four ends at 200", g.Quantile(0.5), math.Exp(math.Log(144)+share*math.Log(200.0/144)), 1)
	near(t, "four ends at 200, nine in ten", g.Quantile(0.9),
		math.Exp(math.Log(144)+share*math.Log(200.0/144)+1.2816*math.Hypot(sd, 0.13)), 3)
	for at, moved := range map[float64]bool{20: false, 144: true, 250: true} { // stopped while the sap was good
		g := UsualGoodSap()
		g.Learn(at, true)
		if got := g.Quantile(0.5); (got > 146) != moved || got < 143.5 {
			t.Errorf("stopped at %g K d: the middle is %g", at, got)
		}
	}
}

// Warmth by hand: five kelvins a day above -2 °C from 1 February on, that day and the last
// with it; what is not known gives none.
func TestWarmthByHand(t *testing.T) {
	d := steady(-3, 9)
	for on, want := range map[time.Time]float64{utc(2026, 1, 31): 0, utc(2026, 2, 1): 5, utc(2026, 2, 10): 50, utc(2026, 3, 1): 145} {
		if got, ok := Warmth(&d, on); !ok || got != want {
			t.Errorf("%s: %g, want %g", on.Format(time.DateOnly), got, want)
		}
	}
	cold := steady(-6, 2) // its mean is the bound
	if got, ok := Warmth(&cold, utc(2026, 3, 1)); !ok || got != 0 {
		t.Errorf("at the bound: %g", got)
	}
	if day, ok := WarmDay(&d, 2026); !ok || day != 60 { // 144 on the twenty-ninth day
		t.Errorf("warm on day %g, %t", day, ok)
	}
	exact := steady(-4, 12) // six a day: 144 on the twenty-fourth
	if day, ok := WarmDay(&exact, 2026); !ok || day != 55 {
		t.Errorf("just warm enough on day %g, %t", day, ok)
	}
	if _, ok := WarmDay(&cold, 2026); ok {
		t.Error("a spring without warmth was warm enough")
	}
	d.LowC[61+31+4] = math.NaN() // 5 February
	if got := Warmths(&d, 2026); len(got) != 4 || got[0] != 5 || got[3] != 20 {
		t.Errorf("%v", got)
	}
	if _, ok := Warmth(&d, utc(2026, 2, 5)); ok {
		t.Error("the warmth of a day that is not known is told")
	}
	if got, ok := Warmth(&d, utc(2026, 2, 4)); !ok || got != 20 {
		t.Errorf("before a gap: %g", got)
	}
	if _, ok := WarmDay(&d, 2026); ok {
		t.Error("the warm day after a gap is told")
	}
	// 144 K d are there on day 60: an even chance then, hardly any long before, none in January.
	g := UsualGoodSap()
	ends := g.Ends(utc(2026, 2, 1), []weather.Daily{steady(-3, 9)})
	if mid := ends.Quantile(0.5).YearDay(); mid < 59 || mid > 62 {
		t.Errorf("good sap ends on day %d", mid)
	}
	near(t, "by the end of January", ends.By(utc(2026, 1, 25)), 0, 1e-3)
	mild := steady(-30, -20)
	for i := 61; i < 61+31; i++ { // warm in January alone
		mild.LowC[i], mild.HighC[i] = 20, 30
	}
	never := g.Ends(utc(2026, 2, 1), []weather.Daily{mild})
	near(t, "after a warm January", never.By(utc(2026, 6, 1)), 0, 1e-3)
	mild.LowC[61+31], mild.HighC[61+31] = 300, 300 // and on the first of February
	always := g.Ends(utc(2026, 2, 1), []weather.Daily{mild})
	near(t, "after the first of February", always.By(utc(2026, 6, 1)), 1, 0.01)
	two := g.Ends(utc(2026, 2, 1), []weather.Daily{steady(-3, 9), steady(-30, -20)})
	near(t, "in every second spring", two.By(utc(2026, 6, 1)), 0.5, 0.01)
}

// Counts by hand on winters of one temperature. Forcing is 28.4/(1+exp(-0.185(T-18.4))) a day
// above 0 °C (Sarvas 1974), chilling a triangle from -3.4 over 5 to 10.4 °C (Hänninen 1990),
// both from memory; heat is what lies above a base.
func TestCountsByHand(t *testing.T) {
	force := func(c float64) float64 { return 28.4 / (1 + math.Exp(-0.185*(c-18.4))) }
	for c, want := range map[float64]float64{-5: 0, 0: 0, 18.4: 14.2, 40: force(40)} {
		near(t, "forcing", sarvas(c), want, 1e-9)
	}
	for c, want := range map[float64]float64{-4: 0, -3.4: 0, 0.8: 0.5, 5: 1, 7.7: 0.5, 10.4: 0, 20: 0} {
		near(t, "chilling", chillTriangle(c), want, 1e-9)
	}
	run := func(c count, d weather.Daily) []float64 {
		w := winterBefore(2026, &d, daysOfWinter(45))
		return c.run(&w)
	}
	warm, chill := steady(10, 10), steady(4.9, 4.9)
	plain := run(easedHeat(60, 4, 0), warm)
	for i, want := range map[int]float64{0: 0, 119: 0, 120: 6, 129: 60} { // day 60 has index 120
		near(t, "heat from day 60", plain[i], want, 1e-9)
	}
	eased := run(easedHeat(60, 2, 0.01), chill) // each day chills
	near(t, "eased heat", eased[129], 10*2.9, 1e-9)
	near(t, "eased heat, ten days on", eased[139], 20*2.9*math.Exp(0.01*10), 1e-9)
	if cool := run(easedHeat(60, 2, 0.01), steady(5, 5)); cool[129] >= 10*3.0 { // 5 °C does not chill any more
		t.Errorf("without chilling %g", cool[129])
	}
	december := run(easedFromDecember(3, 0.008), steady(5, 5))
	for i, want := range map[int]float64{29: 0, 30: 2, 39: 20} {
		near(t, "from December", december[i], want*math.Exp(-0.008*130), 1e-9)
	}
	cold := run(easedFromDecember(3, 0.008), steady(2.9, 2.9))
	near(t, "all chilling", cold[100], 0, 0)
	both := steady(5, 5)
	for i := range 100 {
		both.LowC[i], both.HighC[i] = 2, 2
	}
	mixed := run(easedFromDecember(3, 0.008), both)
	near(t, "seventy days chilled, ten warm", mixed[109], 20*math.Exp(0.008*(70-130)), 1e-9)
	once := run(sequential(20), steady(5, 5))
	for i, want := range map[int]float64{19: 0, 20: force(5), 29: 10 * force(5)} {
		near(t, "once chilled", once[i], want, 1e-9)
	}
	along := run(parallel(20), steady(5, 5))
	near(t, "as chilled, first day", along[0], force(5)*(0.1+0.9/20), 1e-9)
	near(t, "as chilled, thirtieth day", along[29], force(5)*(30*0.1+0.9*(20*21/2/20.0+10)), 1e-9)
	light := run(daylight(2), warm)
	near(t, "daylight before the year", light[60], 0, 0)
	near(t, "daylight, first day", light[61], force(10)*math.Pow(dayHours(1, 45)/12, 2), 1e-9)
	near(t, "daylight, second day", light[62]-light[61], force(10)*math.Pow(dayHours(2, 45)/12, 2), 1e-9)
	if c := counts(); len(c) != 4*3*5+2*3+3+2*3 {
		t.Errorf("%d candidates", len(c))
	}
}

// The normal of a place: a month's own in its middle at the place that was measured, 0.9 K
// colder a degree to the north and 6.5 K/km, a straight line between months.
func TestNormalByHand(t *testing.T) {
	for name, c := range map[string]struct {
		on                  time.Time
		latitude, elevation float64
		low, high           float64
	}{
		"January":            {utc(2026, 1, 15), 42.53, 340, -10.3, 0.3},
		"height unknown":     {utc(2026, 1, 15), 42.53, math.NaN(), -10.3, 0.3},
		"a degree north":     {utc(2026, 1, 15), 43.53, 340, -11.2, -0.6},
		"south of the line":  {utc(2026, 1, 15), -43.53, 340, -11.2, -0.6},
		"a hundred metres":   {utc(2026, 1, 15), 42.53, 440, -10.95, -0.35},
		"lower":              {utc(2026, 1, 15), 42.53, 240, -9.65, 0.95},
		"between":            {utc(2026, 4, 30), 42.53, 340, 2.75, 16.3}, // fifteen of thirty days on
		"before the middle":  {utc(2026, 5, 14), 42.53, 340, 0.1 + 5.3*29/30, 13.2 + 6.2*29/30},
		"begin of the year":  {utc(2026, 1, 1), 42.53, 340, -8.8 - 1.5*17/31, 1.2 - 0.9*17/31},
		"begin of November":  {utc(2025, 11, 1), 42.53, 340, -2.5, 8.1},
		"the last of spring": {utc(2026, 6, 30), 42.53, 340, 10.7 + 2.8*15/30, 24.0 + 2.5*15/30},
	} {
		low, high := normal(c.on, c.latitude, c.elevation)
		near(t, name+", low", low, c.low, 1e-9)
		near(t, name+", high", high, c.high, 1e-9)
	}
}

// Courses have the days that are known, then those ahead, then an earlier year's, or a normal
// spring's; nothing of what came is made up.
func TestCoursesOfASpring(t *testing.T) {
	now := utc(2026, 3, 10)
	known := weather.NewDaily(utc(2026, 2, 1), 37) // to 9 March
	for i := range known.LowC {
		known.LowC[i], known.HighC[i] = 1, 2
	}
	ahead := weather.NewDaily(utc(2026, 3, 9), 4) // from the day before
	for i := range ahead.LowC {
		ahead.LowC[i], ahead.HighC[i] = 3, 4
	}
	years := weather.NewDaily(utc(2020, 1, 1), 366+365+365) // 2020 to 2022, the last with a gap
	for i := range years.LowC {
		y := float64(years.Date(i).Year() - 2000)
		years.LowC[i], years.HighC[i] = y, y+1
	}
	for i := years.Index(utc(2022, 4, 1)); i < years.Index(utc(2022, 4, 13)); i++ {
		years.LowC[i] = math.NaN()
	}
	s := Spring{Known: known, Ahead: []weather.Daily{ahead}, Years: &years}
	all := s.Courses(now, 42.53, 340)
	if len(all) != 30 { // no fewer, and each of the two years as often
		t.Fatalf("%d courses", len(all))
	}
	for k := range all {
		d := &all[k]
		for on, want := range map[time.Time]float64{utc(2026, 2, 1): 1, utc(2026, 3, 9): 1, utc(2026, 3, 10): 3, utc(2026, 3, 12): 3,
			utc(2026, 3, 13): float64(20 + k%2), utc(2026, 6, 1): float64(20 + k%2)} {
			if low, _ := d.At(d.Index(on)); low != want {
				t.Fatalf("course %d, %s: %g, want %g", k, on.Format(time.DateOnly), low, want)
			}
		}
		if low, high := d.At(d.Index(utc(2026, 1, 15))); low != -10.3 || high != 0.3 { // before what is known: as usual
			t.Fatalf("course %d in January: %g to %g", k, low, high)
		}
	}
	other := weather.NewDaily(utc(2026, 3, 9), 4)
	for i := range other.LowC {
		other.LowC[i], other.HighC[i] = 30, 40
	}
	shared := Spring{Known: known, Ahead: []weather.Daily{ahead, other}, Years: &years}
	n2 := 0
	for k, d := range shared.Courses(now, 42.53, 340) {
		low, _ := d.At(d.Index(utc(2026, 3, 11)))
		if (low == 30) != (k >= 15) {
			t.Fatalf("course %d goes on with %g", k, low)
		}
		if low == 30 {
			n2++
		}
	}
	if n2 != 15 {
		t.Errorf("of two members the second has %d courses of 30", n2)
	}
	hole := Spring{Known: weather.NewDaily(utc(2026, 2, 1), 37), Ahead: s.Ahead, Years: &years}
	copy(hole.Known.LowC, known.LowC)
	copy(hole.Known.HighC, known.HighC)
	hole.Known.LowC[35], hole.Known.LowC[36] = math.NaN(), math.NaN() // the eighth and ninth of March
	for _, d := range hole.Courses(now, 42.53, 340) {
		usual, _ := normal(utc(2026, 3, 8), 42.53, 340)
		if low, _ := d.At(d.Index(utc(2026, 3, 8))); low != usual {
			t.Fatalf("a day that nobody knows has a low of %g, not the usual %g", low, usual)
		}
		if low, _ := d.At(d.Index(utc(2026, 3, 9))); low != 3 {
			t.Fatalf("a day that the forecast still knows has a low of %g", low)
		}
		if d.Days() != 242 {
			t.Fatalf("%d days", d.Days())
		}
	}
	for missing, want := range map[int]int{10: 1, 11: 0} { // of 106 days a tenth may be missing
		thin := weather.NewDaily(utc(2020, 1, 1), 366)
		for i := range thin.LowC {
			thin.LowC[i], thin.HighC[i] = 1, 2
		}
		for i := range missing {
			thin.HighC[thin.Index(utc(2020, 4, 1))+i] = math.NaN()
		}
		if got := (&Spring{Years: &thin}).otherYears(2026); len(got) != want {
			t.Errorf("%d days are missing: %v", missing, got)
		}
	}
	three := weather.NewDaily(utc(2020, 1, 1), 366+365+365)
	for i := range three.LowC {
		three.LowC[i], three.HighC[i] = 1, 2
	}
	s.Years = &three
	if got := len(s.Courses(now, 42.53, 340)); got != 30 {
		t.Errorf("of three years %d courses", got)
	}
	if got := s.otherYears(2021); len(got) != 2 || got[0] != 2020 || got[1] != 2022 {
		t.Errorf("other years than 2021: %v", got)
	}
	// Without earlier years: normal springs, some warmer and some colder, stirred from day to
	// day, with what is known and what is ahead as it is.
	s.Years = nil
	plain := s.Courses(now, 42.53, 340)
	sum, squares, days, highs, together, kept, n := 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
	for k := range plain {
		warmer := 1.5 * distuv.UnitNormal.Quantile((float64(k)+0.5)/float64(len(plain))) // of the whole spring
		before := 0.0
		d := &plain[k]
		if low, _ := d.At(d.Index(utc(2026, 3, 9))); low != 1 {
			t.Fatalf("course %d: yesterday's low is %g", k, low)
		}
		if low, _ := d.At(d.Index(utc(2026, 3, 12))); low != 3 {
			t.Fatalf("course %d: the forecast's low is %g", k, low)
		}
		for i := d.Index(utc(2026, 3, 20)); i < d.Index(utc(2026, 4, 20)); i++ {
			usual, usualHigh := normal(d.Date(i), 42.53, 340)
			low, high := d.At(i)
			off, offHigh := low-usual-warmer, high-usualHigh-warmer
			highs, together, kept = highs+offHigh*offHigh, together+off*offHigh, kept+off*before
			before, days = off, days+off*off
			if high < low {
				t.Fatalf("course %d: %g to %g", k, low, high)
			}
			sum, squares, n = sum+low-usual, squares+(low-usual)*(low-usual), n+1
		}
	}
	near(t, "mean of the lows beside the normal", sum/n, 0, 0.7)
	near(t, "their spread", math.Sqrt(squares/n), math.Hypot(4.8, 1.5), 0.6)
	near(t, "spread of the highs", math.Sqrt(highs/n), 6.3, 0.8) // a little less: no high lies below its low
	near(t, "together", together/math.Sqrt(days*highs), 0.7, 0.08)
	near(t, "kept until the next day", kept/days, 0.65, 0.08)
}

// A winter begins on 1 November, in the zone of the place.
func TestWinterBeginsInNovember(t *testing.T) {
	zone := time.FixedZone("EST", -5*3600)
	for at, want := range map[time.Time]int{time.Date(2026, 10, 31, 23, 59, 0, 0, zone): 2025, time.Date(2026, 11, 1, 0, 0, 0, 0, zone): 2026,
		time.Date(2026, 11, 1, 3, 0, 0, 0, time.UTC): 2025, time.Date(2026, 3, 1, 0, 0, 0, 0, zone): 2025} {
		if got := WinterStart(at, zone); !got.Equal(time.Date(want, 11, 1, 0, 0, 0, 0, zone)) {
			t.Errorf("%s: the winter began on %s", at, got)
		}
	}
	d := steady(1, 2)
	d.HighC[200] = math.NaN()
	if w := winterBefore(2026, &d, daysOfWinter(45)); w.reach != 200 {
		t.Errorf("a gap after 200 days: %d are known", w.reach)
	}
	b := SugarMaple(45)
	if _, err := b.Opening(2026, []weather.Daily{d}); err == nil || !strings.Contains(err.Error(), "after day 139") {
		t.Errorf("%v", err)
	}
	d.HighC[200], d.HighC[211] = 2, math.NaN() // just enough is known
	if _, err := b.Opening(2026, []weather.Daily{d}); err != nil {
		t.Error(err)
	}
	d.HighC[210] = math.NaN()
	if _, err := b.Opening(2026, []weather.Daily{d}); err == nil {
		t.Error("a winter that is a day too short foretells buds")
	}
}

// Leads by hand: three springs in which a sign came 20, 30 and 40 days before the end and ten
// before the first run; spread with the two springs of eight days that count before any.
func TestLeadsByHand(t *testing.T) {
	l := LearnSigns([]SignYear{{"Crows", 2022, 80, 90, 120, 0}, {"crows", 2020, 60, 70, 80, 0}, {"crows", 2021, 70, 0, 100, 0}, {"bees", 2021, 70, 0, 0, 0}})
	if len(l) != 2 || l[0].Sign != "bees" || l[1].Sign != "Crows" || l[1].Years != 3 {
		t.Fatalf("%+v", l)
	}
	near(t, "before the run", l[1].BeforeRunDays, 10, 1e-9)
	near(t, "before the run, spread", l[1].BeforeRunSDDays, math.Sqrt(128.0/4), 1e-9)
	near(t, "before the end", l[1].BeforeEndDays, 30, 1e-9)
	near(t, "before the end, spread", l[1].BeforeEndSDDays, math.Sqrt((128.0+200)/5), 1e-9)
	odd := LearnSigns([]SignYear{{"x", 1, 60, 65, 100, 0}, {"x", 2, 60, 80, 100, 0}})[0]
	near(t, "before runs that differ", odd.BeforeRunSDDays, math.Sqrt((128+2*7.5*7.5)/4), 1e-9)
	if !math.IsNaN(l[0].BeforeEndDays) || !math.IsNaN(l[0].BeforeRunSDDays) {
		t.Errorf("a sign of which nothing is known leads by %g", l[0].BeforeEndDays)
	}
	// A sign that goes day by day with how late the end is moves it as much, no more; one that
	// came with the end or after it, or in three springs only, moves nothing.
	line := func(n int, seen func(x float64) float64) []SignYear {
		var out []SignYear
		for i := range n {
			x := float64(i)
			out = append(out, SignYear{"a", 2000 + i, seen(x), 0, 100 + 2*x, 100})
		}
		return out
	}
	whole := LearnSigns(line(8, func(x float64) float64 { return 60 + 2*x }))[0]
	near(t, "a day later", whole.Moves(68, 100)-whole.Moves(67, 100), 1, 0.01)
	near(t, "as late as usual", whole.Moves(67, 100), 0, 0.01)
	near(t, "where it is warm later", whole.Moves(68, 101), 0, 0.01)
	steep := LearnSigns(line(8, func(x float64) float64 { return 60 + x }))[0]
	near(t, "never more than a day a day", steep.Moves(70, 100)-steep.Moves(69, 100), 1, 0.01)
	for name, years := range map[string][]SignYear{"three springs": line(3, func(x float64) float64 { return 60 + 2*x }),
		"after the end": line(8, func(x float64) float64 { return 100 + 2*x })} {
		if l := LearnSigns(years)[0]; l.Moves(90, 100) != 0 {
			t.Errorf("%s: moves the end by %g days", name, l.Moves(90, 100))
		}
	}
	if four := LearnSigns(line(4, func(x float64) float64 { return 60 + 2*x }))[0]; four.Moves(90, 100) == 0 {
		t.Error("four springs that agree move nothing")
	}
	for name, unknown := range map[string]func(y *SignYear){"end": func(y *SignYear) { y.EndDOY = 0 }, "warmth": func(y *SignYear) { y.WarmDOY = 0 }} {
		years := line(8, func(x float64) float64 { return 60 + 2*x })
		for i := range years[:5] {
			unknown(&years[i])
		}
		if l := LearnSigns(years)[0]; l.Moves(90, 100) != 0 {
			t.Errorf("three springs of which the %s is known move it by %g days", name, l.Moves(90, 100))
		}
	}
	same := LearnSigns(line(8, func(float64) float64 { return 70 }))[0]
	near(t, "always on one day", same.Moves(90, 100), 0, 0)
	// Half of what varies is explained by chance alone too often to be trusted.
	half := LearnSigns([]SignYear{{"a", 1, 60, 0, 100, 100}, {"a", 2, 62, 0, 104, 100}, {"a", 3, 64, 0, 98, 100}, {"a", 4, 66, 0, 106, 100}})[0]
	if got := half.Moves(74, 100); got <= 0 || got > 2 {
		t.Errorf("a sign that hardly goes with the end moves it by %g days", got)
	}
}

// Heat that is looked for from a spring of which an earlier part is not known is none: from
// day 60 on, but not before.
func TestFromWhenASpringMustBeKnown(t *testing.T) {
	for from, want := range map[int]bool{59: true, 60: true, 61: false} {
		known := weather.NewDaily(utc(2026, 1, 1), 150)
		for i := range known.LowC {
			if known.LowC[i], known.HighC[i] = math.NaN(), math.NaN(); i+1 >= from {
				known.LowC[i], known.HighC[i] = 2, 9
			}
		}
		s := Spring{Known: known}
		if _, ok := SugarMaple(44).Ahead(utc(2026, 5, 1), &s, 300); ok != want {
			t.Errorf("known from day %d on: foretold %t", from, ok)
		}
	}
}
