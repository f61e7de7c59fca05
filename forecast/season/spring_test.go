package season

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

func harvardForest(t *testing.T) (*weather.Daily, []BudYear) {
	t.Helper()
	f := beside.Open(t, "data/forest-station-1989-1996-daily.csv")
	d, err := weather.ReadDailyCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	d.FillGaps()
	g := beside.Open(t, "data/bud-break-1990-1996.csv")
	buds, err := ReadBuds(g, g.Name())
	if err != nil {
		t.Fatal(err)
	}
	return &d, buds
}

// The figures kept for sugar maple are what the measurements teach (Harvard
// Forest HF000, Boose and Gould; HF003, O'Keefe).
func TestKeptSugarMapleIsWhatWasLearnt(t *testing.T) {
	d, buds := harvardForest(t)
	b, err := LearnBuds("sugar maple", buds, d, 42.53)
	if err != nil {
		t.Fatal(err)
	}
	if kept := SugarMaple(42.53); math.Abs(b.Level/kept.Level-1) > 0.002 {
		t.Errorf("buds opened at level %.1f, kept as %.1f", b.Level, kept.Level)
	}
	blend, err := LearnBlend("sugar maple", buds, d, 42.53)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range blend.Counts {
		if c.Name == "degree days above 4 °C from day 60" && math.Abs(c.Level/BudSum-1) > 0.01 {
			t.Errorf("buds opened at %.0f degree days, kept as %.0f", c.Level, BudSum)
		}
	}
}

// From a day of spring on, with normal weather after it: the range narrows and
// holds what came, on the years of Harvard Forest.
func TestAheadNarrowsAndHolds(t *testing.T) {
	d, buds := harvardForest(t)
	springs := Spring{Known: *d}
	for _, on := range []struct{ month, day int }{{3, 15}, {4, 10}, {4, 25}} {
		width, held, n := 0.0, 0.0, 0.0
		for _, y := range buds {
			if y.Species != "sugar maple" {
				continue
			}
			b := SugarMaple(42.53) // and what the other springs of the place taught
			for _, other := range buds {
				if other.Species == y.Species && other.Year != y.Year {
					level, ok := b.Noted(time.Date(other.Year, 1, int(math.Round(other.LeafDOY)), 0, 0, 0, 0, time.UTC), &springs, 340)
					if !ok {
						t.Fatalf("%d teaches nothing", other.Year)
					}
					b.Learn([]float64{level})
				}
			}
			now := time.Date(y.Year, time.Month(on.month), on.day, 18, 0, 0, 0, time.UTC)
			known := weather.NewDaily(time.Date(y.Year-1, 11, 1, 0, 0, 0, 0, time.UTC), 300)
			for i := range known.LowC {
				if known.Date(i).Before(now) {
					known.LowC[i], known.HighC[i] = d.At(d.Index(known.Date(i)))
				}
			}
			o, ok := b.Ahead(now, &Spring{Known: known}, 340)
			if !ok {
				t.Fatalf("%s: nothing foretold", now)
			}
			low, high := o.Quantile(0.1), o.Quantile(0.9)
			width += high - low
			n++
			if low <= y.LeafDOY && y.LeafDOY <= high {
				held++
			}
		}
		t.Logf("%02d-%02d: %.1f days wide, held %.0f of %.0f", on.month, on.day, width/n, held, n)
		if held < 5 || width/n < 7 || width/n > 20 {
			t.Errorf("%02d-%02d: %.1f days wide, held %.0f of %.0f", on.month, on.day, width/n, held, n)
		}
	}
}

func TestSpringThatBeganUnseenIsNotCounted(t *testing.T) {
	known := weather.NewDaily(time.Date(2026, 3, 20, 0, 0, 0, 0, time.UTC), 10)
	for i := range known.LowC {
		known.LowC[i], known.HighC[i] = -3, 6
	}
	now := time.Date(2026, 3, 30, 12, 0, 0, 0, time.UTC)
	if _, ok := SugarMaple(44).Ahead(now, &Spring{Known: known}, 300); ok {
		t.Error("a spring of which the first weeks are not known foretells buds")
	}
	if s := (&Spring{Known: known}); !math.IsNaN(s.DegreeDays(now)) {
		t.Error("degree days of days that are not known")
	}
}

// Heat of a day by the single-sine method against the mean of a fine course.
func TestHeatAbove(t *testing.T) {
	for _, c := range []struct{ low, high, base float64 }{{-5, 8, 4}, {5, 15, 4}, {-9, 2, 4}, {3, 3, 1}, {-2, 4.5, 4}} {
		want := 0.0
		const n = 100000
		for i := range n {
			want += max((c.low+c.high)/2-(c.high-c.low)/2*math.Cos(2*math.Pi*(float64(i)+0.5)/n)-c.base, 0) / n
		}
		if got := heatAbove(c.low, c.high, c.base); math.Abs(got-want) > 1e-4 {
			t.Errorf("%+v: %.5f, want %.5f", c, got, want)
		}
	}
}

// Length of the day at 45° N: 15.4 h at midsummer, 12 h at the equinox, 8.6 h at
// midwinter, horizon without refraction (almanac, from memory).
func TestDayHours(t *testing.T) {
	for doy, want := range map[int]float64{172: 15.4, 81: 12, 355: 8.6} {
		if got := dayHours(doy, 45); math.Abs(got-want) > 0.25 {
			t.Errorf("day %d: %.2f h, want %.1f", doy, got, want)
		}
	}
}
