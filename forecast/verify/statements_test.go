package verify

import (
	"encoding/csv"
	"math"
	"strconv"
	"testing"
	"time"

	"thawline/forecast/season"
	"thawline/forecast/trunk"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// statement is what a maker wrote of a day: 0 nothing ran, 1 a little, 2 it ran, 3 much.
type statement struct {
	date  time.Time
	class int
}

// statements are those of a place (facts from makers' public diaries).
func statements(t *testing.T, place string) (out []statement) {
	rows, err := csv.NewReader(beside.Open(t, "data/ran-or-not-statements.csv")).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	for _, row := range rows[1:] {
		if row[column["place"]] != place {
			continue
		}
		date, err := time.Parse(time.DateOnly, row[column["date"]])
		class, err2 := strconv.Atoi(row[column["flow_class"]])
		if err != nil || err2 != nil {
			t.Fatal(row)
		}
		out = append(out, statement{date, class})
	}
	return out
}

// town is the lows and highs of a town (GHCN-Daily).
func town(t *testing.T, name string) weather.Daily {
	f := beside.Open(t, "data/"+name+"-daily-1990-2020.csv")
	d, err := weather.ReadDailyCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	d.FillGaps()
	return d
}

// Days of which a maker in Wisconsin says that it ran are told from others by the air of
// two towns 120 and 130 km off better than by plain rules: the litres of the day, fitted
// on none of them. Several towns are mixed as the weather of several stations is; their
// mean is not the worst of the three.
func TestDaysThatRanByTheirMaker(t *testing.T) {
	zone, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	said := statements(t, "wi-manitowoc")
	madison, milwaukee := town(t, "madison"), town(t, "milwaukee")
	o := SapOptions{Place: weather.Place{LatitudeDeg: 44.15, LongitudeDeg: -87.72, ElevationM: 200}, Zone: zone, Canopy: trunk.Closed,
		TreeDiameterM: 0.3}
	area := map[string]float64{}
	for _, c := range []struct {
		name string
		air  []weather.Daily
	}{{"Madison", []weather.Daily{madison}}, {"Milwaukee", []weather.Daily{milwaukee}},
		{"mean of both", []weather.Daily{madison, milwaukee}}} {
		var litres, degrees, rule, ran, some []float64
		for _, s := range said {
			var low, high float64
			var told []weather.Bulletin
			for i := range c.air {
				l, h := c.air[i].At(c.air[i].Index(s.date))
				low, high = low+l/float64(len(c.air)), high+h/float64(len(c.air))
				spring := c.air[i].Between(s.date.AddDate(0, 0, -wakingDays), s.date.AddDate(0, 0, 2))
				b := weather.Bulletin{Course: spring.Hourly(o.Place), ElevationM: o.Place.ElevationM}
				told = append(told, b.At(o.Place))
			}
			w := weather.Mix(told).Course
			f, err := newSeasonFlow(&w, &o)
			if err != nil {
				t.Fatal(err)
			}
			day := time.Date(s.date.Year(), s.date.Month(), s.date.Day(), 0, 0, 0, 0, zone)
			flow := f.bore(f.weather.Index(day.AddDate(0, 0, -14)))
			sum := 0.0
			for i := f.weather.Index(day); i < f.weather.Index(day.AddDate(0, 0, 1)); i++ {
				sum += flow[i]
			}
			one := func(is bool) float64 {
				if is {
					return 1
				}
				return 0
			}
			litres, degrees, rule = append(litres, sum), append(degrees, math.Max(high, 0)), append(rule, one(season.RunsBy(low, high)))
			ran, some = append(ran, one(s.class >= 2)), append(some, one(s.class >= 1))
		}
		byLitres, byDegrees, byRule := ROCArea(litres, ran), ROCArea(degrees, ran), ROCArea(rule, ran)
		t.Logf("%s: %d days; ran: litres %.2f, degrees above zero %.2f, rule %.2f; anything: %.2f, %.2f, %.2f", c.name, len(said),
			byLitres, byDegrees, byRule, ROCArea(litres, some), ROCArea(degrees, some), ROCArea(rule, some))
		area[c.name] = byLitres
		if byLitres < 0.7 || byLitres < byDegrees+0.05 || byLitres < byRule+0.05 {
			t.Errorf("%s: litres tell days that ran at %.2f, degrees above zero at %.2f, the rule at %.2f", c.name, byLitres, byDegrees,
				byRule)
		}
	}
	if both := area["mean of both"]; both <= min(area["Madison"], area["Milwaukee"]) {
		t.Errorf("by the mean of both towns %.2f, by each alone %.2f and %.2f", both, area["Madison"], area["Milwaukee"])
	}
}
