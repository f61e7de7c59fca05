package forecast

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"
	"time"

	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// growing is what an outlook grows with.
type growing struct {
	with  string
	size  int // this much against twice as much
	ready func(t testing.TB, size int) (work func())
}

func growings() []growing {
	return []growing{
		{"sites", 2, func(t testing.TB, size int) func() {
			var sites []Inputs
			for i := range size {
				sites = append(sites, neighbour(t, i, 14, 17))
			}
			return func() {
				for _, in := range sites {
					mustMake(t, in)
				}
			}
		}},
		{"groups", 50, func(t testing.TB, size int) func() { return making(t, manyGroups(t, size, 0)) }},
		{"groups apart", 24, func(t testing.TB, size int) func() { return making(t, apart(manyGroups(t, size, 0))) }},
		{"groups with visits", 30, func(t testing.TB, size int) func() { return making(t, manyGroups(t, size, 20)) }},
		{"visits", 30, func(t testing.TB, size int) func() { return making(t, manyGroups(t, 10, size)) }},
		{"seasons", 4, func(t testing.TB, size int) func() {
			in := manyGroups(t, 3, 0)
			seasons := manySeasons(&in.Site, size)
			return func() {
				if _, err := Teach(&in.Site, seasons); err != nil {
					t.Fatal(err)
				}
			}
		}},
		{"members", 51, func(t testing.TB, size int) func() { return making(t, ofMembers(neighbour(t, 1, 14, 17), size)) }},
		{"days", 8, func(t testing.TB, size int) func() { return making(t, neighbour(t, 1, 14, size+1)) }},
		{"past days", 50, func(t testing.TB, size int) func() { return making(t, neighbour(t, 1, size, 17)) }},
	}
}

func making(t testing.TB, in Inputs) func() { return func() { mustMake(t, in) } }

// apart has each group tapped on a day of its own, so that none runs as another does.
func apart(in Inputs) Inputs {
	for g := range in.Site.Groups {
		in.Site.Groups[g].Tapped = march.Add(-time.Duration(20+g) * 24 * time.Hour)
	}
	return in
}

// ofMembers is a forecast of so many members.
func ofMembers(in Inputs, members int) Inputs {
	control := in.Bulletin.Course.Between(march, in.Bulletin.Course.End())
	control.Complete(in.Site.Place)
	in.Bulletin.Members = weather.ErrorMembers(&control, in.Site.Place, march, members, 1)
	return in
}

// manySeasons are earlier springs with their weather, and thirty visits a group.
func manySeasons(site *Site, seasons int) (out []notebook.Season) {
	rng := rand.New(rand.NewPCG(3, 4))
	for n := range seasons {
		year := march.Year() - seasons + n
		from, to := time.Date(year-1, 12, 1, 0, 0, 0, 0, time.UTC), time.Date(year, 7, 1, 0, 0, 0, 0, time.UTC)
		s := notebook.Season{To: to, Weather: weather.NewSeries(from, int(to.Sub(from)/time.Hour))}
		for i := range s.Weather.Hours() {
			at := s.Weather.Time(i)
			air := -8*math.Cos(float64(at.YearDay()-20)/365*2*math.Pi) - 6*math.Cos(float64(at.Hour()-8)/24*2*math.Pi)
			s.Weather.Col(weather.TemperatureC)[i] = air
		}
		for v := range 30 {
			for g := range site.Groups {
				s.Visits = append(s.Visits, records.Visit{Group: site.Groups[g].ID, VolumeL: float64(site.Groups[g].Taps) * (2 + 2*rng.Float64()),
					CollectedAt: time.Date(year, 3, 1, 17, 0, 0, 0, time.UTC).Add(time.Duration(v) * 36 * time.Hour)})
			}
		}
		out = append(out, s)
	}
	return out
}

// An outlook grows in a straight line with everything that there can be more of: a step
// that goes through all of something for each of them is seen here before a large
// association sees it.
func TestGrowth(t *testing.T) {
	for _, w := range growings() {
		t.Run(w.with, func(t *testing.T) {
			beside.NewGrowth(w.size, func(size int) func() { return w.ready(t, size) }).Hold(t, 1.3)
		})
	}
}

// BenchmarkGrowth prints the exponents, 1 for a straight line. Twice the processors do the
// same in half the time at best, which is -1.
func BenchmarkGrowth(b *testing.B) {
	for _, w := range growings() {
		b.Run(fmt.Sprintf("%s=%d-%d", w.with, w.size, 2*w.size), func(b *testing.B) {
			beside.NewGrowth(w.size, func(size int) func() { return w.ready(b, size) }).Report(b)
		})
	}
	for cores := 1; 2*cores <= runtime.NumCPU(); cores *= 2 {
		b.Run(fmt.Sprintf("cores=%d-%d", cores, 2*cores), func(b *testing.B) {
			in := neighbour(b, 1, 14, 17)
			beside.NewGrowth(cores, func(cores int) func() {
				return func() {
					defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(cores))
					for range 10 {
						mustMake(b, in)
					}
				}
			}).Report(b)
		})
	}
}
