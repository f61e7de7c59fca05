package alerts

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/forecast"
)

// What is seen near by brings a run forward only by two hours, an hour of which can still be
// used; not what nobody has seen, nobody was told, is of another day, or over.
func TestWhatIsSeenNearByIsToldInTimeOnly(t *testing.T) {
	told := clock(20, 16, 0)
	for name, c := range map[string]struct {
		start, end, now, told time.Time
		date                  string
		reports               int
		want                  bool
	}{
		"two hours":              {clock(20, 14, 0), clock(20, 20, 0), clock(20, 12, 0), told, "2026-03-20", 1, true},
		"nearly two":             {clock(20, 14, 1), clock(20, 20, 0), clock(20, 12, 0), told, "2026-03-20", 1, false},
		"nobody has seen it":     {clock(20, 14, 0), clock(20, 20, 0), clock(20, 12, 0), told, "2026-03-20", 0, false},
		"nobody was told":        {clock(20, 14, 0), clock(20, 20, 0), clock(20, 12, 0), time.Time{}, "2026-03-20", 1, false},
		"of another day":         {clock(20, 14, 0), clock(20, 20, 0), clock(20, 12, 0), told, "2026-03-21", 1, false},
		"an hour to gain":        {clock(20, 13, 0), clock(20, 20, 0), clock(20, 15, 0), told, "2026-03-20", 1, true},
		"less than an hour":      {clock(20, 13, 0), clock(20, 20, 0), clock(20, 15, 1), told, "2026-03-20", 1, false},
		"over":                   {clock(20, 9, 0), clock(20, 12, 0), clock(20, 12, 0), told, "2026-03-20", 1, false},
		"over in a minute":       {clock(20, 9, 0), clock(20, 12, 1), clock(20, 12, 0), told, "2026-03-20", 1, true},
		"it begins as it was":    {told, clock(20, 20, 0), clock(20, 12, 0), told, "2026-03-20", 1, false},
		"later than it was":      {clock(20, 18, 0), clock(20, 20, 0), clock(20, 12, 0), told, "2026-03-20", 1, false},
		"of a day without hours": {time.Time{}, time.Time{}, clock(20, 12, 0), told, "2026-03-20", 1, false},
	} {
		r := rules{o: &forecast.Outlook{Eyes: forecast.Eyes{Reports: c.reports}}, at: Moment{Now: c.now}, zone: zone}
		d := forecast.Day{Date: c.date}
		if !c.start.IsZero() {
			d.Window = &forecast.Window{Start: c.start, End: c.end}
		}
		if got := r.seenEarlier(&d, c.told); got != c.want {
			t.Errorf("%s: %t", name, got)
		}
	}
}

// Why something is told names the bound that it is told by, as it is in the settings.
func TestReasonsNameTheirBounds(t *testing.T) {
	freezes, afterAll := quiet(), quiet()
	freezes.Days[1].TemperatureC.Min = -8
	hang(freezes, forecast.GroupWork{Group: "pails", HeldL: litres(300)})
	afterAll.Days[0].RunProbability, afterAll.Days[0].Window = 0.9, &forecast.Window{Start: clock(20, 4, 0), End: clock(20, 20, 0)}
	for name, c := range map[string]struct {
		o    *forecast.Outlook
		kind Kind
		says []string
	}{
		"a hard freeze": {freezes, HardFreeze, []string{"low of -8.0 °C", fmt.Sprintf("at least %.0f %%", 100*Usual.FullShare)}},
		"after all":     {afterAll, Change, []string{"today 0.90", fmt.Sprintf("at least %.2f", 2*Usual.RunProbability)}},
	} {
		list, err := Decide(c.o, past{}, Moment{Now: clock(20, 12, 30)}, Usual)
		i := slices.IndexFunc(list, func(d Decision) bool { return d.Kind == c.kind })
		if err != nil || i < 0 {
			t.Errorf("%s: %v %v", name, kinds(list), err)
			continue
		}
		for _, want := range c.says {
			if !strings.Contains(strings.Join(list[i].Why, "; "), want) {
				t.Errorf("%s: no %q in %q", name, want, list[i].Why)
			}
		}
	}
}

// A text about sap in the sugarhouse stays right while so much of it lies there that a fire
// is worth it, and no longer.
func TestSapInTheSugarhouseIsBoiled(t *testing.T) {
	due := clock(21, 9, 0)
	for name, c := range map[string]struct {
		what   string
		batch  forecast.SapBatch
		boiled bool
	}{
		"as much as is worth it":   {inTank, forecast.SapBatch{Litres: leastToBoilL, BoilBy: due}, false},
		"a little less":            {inTank, forecast.SapBatch{Litres: leastToBoilL - 0.01, BoilBy: due}, true},
		"of a later day":           {inTank, forecast.SapBatch{Litres: 500, BoilBy: due.Add(Usual.BoilWithin + time.Minute)}, true},
		"of the same day":          {inTank, forecast.SapBatch{Litres: 500, BoilBy: due.Add(Usual.BoilWithin)}, false},
		"gone bad":                 {tankBad, forecast.SapBatch{Litres: 500, Spoilt: true}, false},
		"good again":               {tankBad, forecast.SapBatch{Litres: 500, BoilBy: due}, true},
		"about something else yet": {"", forecast.SapBatch{Litres: 500, BoilBy: due}, true},
	} {
		o := quiet()
		o.Stock.Sap = []forecast.SapBatch{c.batch}
		d := Decision{Facts: Facts{What: c.what, At: due}}
		if got := d.boiled(o); got != c.boiled {
			t.Errorf("%s: boiled %t", name, got)
		}
	}
}
