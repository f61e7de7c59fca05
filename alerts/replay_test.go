package alerts

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/records"
	pails "thawline/forecast/rounds"
	"thawline/forecast/sap"
	"thawline/forecast/trunk"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
	"thawline/testdata"
	"thawline/testdata/beside"
)

// springtime is a season to replay: the weather that came, and the bush.
type springtime struct {
	name    string
	weather weather.Series
	site    forecast.Site
	last    time.Time
	dates   []string
	share   []float64   // of each date: what the trees gave in truth, of a strong day
	onset   []time.Time // when it began to run, of each date
	bigFrom float64     // the share from which a day is of the best quarter of run days
	sapL    []float64   // of each date, from all taps
	flow    []float64   // of a usual tap, litres an hour
	classes []records.ClassVisit
	storm   weather.Warning // that is published; none without an id
}

// dayOf is the place of a date among the season's, -1 for none.
func (s *springtime) dayOf(date string) int { return slices.Index(s.dates, date) }

// usualTapYield is the median that is held of a tap before any record.
const usualTapYield = 0.56

var (
	hillPlace   = weather.Place{LatitudeDeg: 42.4485, LongitudeDeg: -72.6806, ElevationM: 251}
	dairyPlace  = weather.Place{LatitudeDeg: 44.15, LongitudeDeg: -87.72, ElevationM: 200}
	kettlePlace = weather.Place{LatitudeDeg: 44.62, LongitudeDeg: -72.31, ElevationM: 420}
)

func zoneOf(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// daysAsHours are the hours of one winter and spring, drawn through a file's lows and
// highs.
func daysAsHours(t testing.TB, file string, warmerK float64, at weather.Place, year int) weather.Series {
	t.Helper()
	f := beside.Open(t, file)
	d, err := weather.ReadDailyCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	d.FillGaps()
	s := d.Hourly(at)
	s = s.Between(time.Date(year-1, 12, 1, 0, 0, 0, 0, time.UTC), time.Date(year, 5, 10, 0, 0, 0, 0, time.UTC))
	for i := range s.Hours() {
		s.Col(weather.TemperatureC)[i] += warmerK
	}
	return s
}

// namedSeasons are those that the bars speak of: the hill of the tap logs in 2013, 2014
// (by Harvard Forest's air, 0.58 K warmer) and 2015, the Wisconsin diary's bush in 2015
// and 2020 by Madison's air, and the demonstration.
func namedSeasons(t testing.TB) []*springtime {
	t.Helper()
	east, central := zoneOf(t, "America/New_York"), zoneOf(t, "America/Chicago")
	const forest, madison = "data/forest-station-2012-2014-daily.csv", "data/madison-daily-1990-2020.csv"
	f := beside.Open(t, "data/hill-station-2015-hourly.csv")
	hill, _, err := weather.ReadCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	data, err := testdata.Files.ReadFile("weather.csv")
	if err != nil {
		t.Fatal(err)
	}
	kettle, _, err := weather.ReadCSV(bytes.NewReader(data), "weather.csv")
	if err != nil {
		t.Fatal(err)
	}
	return []*springtime{
		spring(t, "hill 2013", daysAsHours(t, forest, 0.58, hillPlace, 2013), hillPlace, time.Date(2013, 2, 22, 8, 0, 0, 0, east), 52),
		spring(t, "hill 2014", daysAsHours(t, forest, 0.58, hillPlace, 2014), hillPlace, time.Date(2014, 2, 19, 8, 0, 0, 0, east), 55),
		spring(t, "hill 2015", hill, hillPlace, time.Date(2015, 3, 1, 8, 0, 0, 0, east), 45),
		spring(t, "Wisconsin 2015", daysAsHours(t, madison, 0, dairyPlace, 2015), dairyPlace,
			time.Date(2015, 2, 28, 8, 0, 0, 0, central), 43),
		spring(t, "Wisconsin 2020", daysAsHours(t, madison, 0, dairyPlace, 2020), dairyPlace,
			time.Date(2020, 2, 28, 8, 0, 0, 0, central), 44),
		spring(t, "demonstration", kettle, kettlePlace, time.Date(2026, 3, 1, 8, 0, 0, 0, east), 50),
	}
}

// spring works out what the trees gave in truth over so many days from when they were
// tapped.
func spring(t testing.TB, name string, w weather.Series, at weather.Place, tapped time.Time, days int) *springtime {
	t.Helper()
	w.FillGaps()
	if !w.Bridge(weather.TemperatureC) {
		t.Fatal(name + ": no temperature")
	}
	w.Complete(at)
	const taps = 50
	s := &springtime{name: name, weather: w, last: tapped.AddDate(0, 0, days),
		site: forecast.Site{ID: "bush", Name: "Bush", Zone: tapped.Location(), Place: at, TreeDiameterM: 0.3,
			Exposure: trunk.Exposed(trunk.Closed, math.NaN()),
			Groups:   []forecast.Group{{ID: "pails", Name: "pails", Taps: taps, Method: volume.Pail, ContainerL: 15, Tapped: tapped}}}}
	tree := trunk.NewTree(s.site.TreeDiameterM, s.site.Exposure, at)
	state := tree.Rest(-5)
	wood := make([]trunk.Hour, w.Hours())
	tree.Run(&state, &w, weather.Suns(&w, at), wood)
	flow := make([]float64, len(wood))
	from := w.Index(tapped)
	var tap sap.State
	sap.Usual.Run(&tap, wood[:from], 0, flow[:from])
	clear(flow[:from])
	tap.WarmHours = 0
	sap.Usual.Run(&tap, wood[from:], 0, flow[from:])

	s.flow = flow
	byDay := map[string][]int{}
	for i := range flow {
		date := w.Time(i).In(s.site.Zone).Format(time.DateOnly)
		if date < tapped.Format(time.DateOnly) || w.Time(i).After(s.last) {
			continue
		}
		if byDay[date] == nil {
			s.dates = append(s.dates, date)
		}
		byDay[date] = append(byDay[date], i)
	}
	var runs []float64
	for _, date := range s.dates {
		hours := byDay[date]
		sum, best := 0.0, 0.0
		for _, i := range hours {
			sum, best = sum+flow[i], max(best, flow[i])
		}
		began := slices.IndexFunc(hours, func(i int) bool { return flow[i] >= max(best/5, 0.02) })
		s.onset = append(s.onset, w.Time(hours[max(began, 0)]))
		s.share = append(s.share, sum/volume.UsualStrongDayL)
		s.sapL = append(s.sapL, taps*usualTapYield*sum)
		if usualTapYield*sum >= volume.RunDayL {
			runs = append(runs, sum/volume.UsualStrongDayL)
		}
	}
	slices.Sort(runs)
	s.bigFrom = runs[len(runs)*3/4]
	return s
}

// ran reports whether a day gave a run, big or not.
func (s *springtime) ran(day int) bool {
	return day >= 0 && day < len(s.share) && s.share[day]*volume.UsualStrongDayL*usualTapYield >= volume.RunDayL
}

// plenty reports whether a day gave so much that it belongs to a big run: four fifths
// of a strong day, or what the best quarter gave where that is less.
func (s *springtime) plenty(day int) bool {
	return day >= 0 && day < len(s.share) && s.share[day] >= min(s.bigFrom, forecast.BigShare)
}

func (s *springtime) big(day int) bool {
	return day >= 0 && day < len(s.share) && s.share[day] >= s.bigFrom
}

// alikeADay is how the errors of forecasts of one night or day go with those issued a
// day later: 0.87 for lows and 0.81 for highs in the archived US forecasts of nine
// northern stations in 2021 (TestForecastsADayApartErrAlike in verify).
const alikeADay = 0.84

// expected is the weather as it looks at a moment: what was, and then the truth with
// errors as large as those of forecasts are by their lead, which go from one evening to
// the next as theirs do.
func (s *springtime) expected(now time.Time, seed uint64) weather.Series {
	truth := s.weather.Between(s.site.Groups[0].Tapped.AddDate(0, 0, -90), now.AddDate(0, 0, 10))
	day := uint64(now.Sub(truth.Start()).Hours() / 24)
	out := truth.Slice(0, truth.Hours())
	split := truth.Index(now) + 1
	logs := map[weather.Variable][]float64{weather.ShortwaveWM2: make([]float64, truth.Hours()),
		weather.WindSpeedMS: make([]float64, truth.Hours())}
	kelvin := make([]float64, truth.Hours())
	weight, squares := 1.0, 0.0
	for back := range uint64(12) {
		err := weather.ErrorMembers(&truth, s.site.Place, now, 2, seed*1000+day-back)[1]
		for i := split; i < truth.Hours(); i++ {
			kelvin[i] += weight * (err.At(weather.TemperatureC, i) - truth.At(weather.TemperatureC, i))
			for v, log := range logs {
				if x := truth.At(v, i); x > 0 {
					log[i] += weight * math.Log(err.At(v, i)/x)
				}
			}
		}
		squares += weight * weight
		weight *= alikeADay
	}
	norm := math.Sqrt(squares)
	for i := split; i < truth.Hours(); i++ {
		out.Col(weather.TemperatureC)[i] += kelvin[i] / norm
		out.Col(weather.DewPointC)[i] = min(out.At(weather.DewPointC, i)+kelvin[i]/norm/2, out.At(weather.TemperatureC, i))
		for v, log := range logs {
			out.Col(v)[i] *= math.Exp(log[i] / norm)
		}
	}
	return out
}

// outlook is the one of a moment, after visits each evening at five that carried in all
// that was not ice.
func (s *springtime) outlook(t testing.TB, now time.Time, seed uint64) *forecast.Outlook {
	t.Helper()
	var visits []records.Visit
	var pail pails.Pail
	for i, q := range s.flow {
		pail.Hour(usualTapYield*q, pails.Melts(s.weather.At(weather.TemperatureC, i)))
		at := s.weather.Time(i + 1)
		if at.After(now) {
			break
		}
		if taps := s.site.Groups[0].Taps; at.In(s.site.Zone).Hour() == 17 && pail.LiquidL*float64(taps) >= 20 {
			visits = append(visits, records.Visit{Group: "pails", CollectedAt: at, Taps: taps, VolumeL: pail.Empty() * float64(taps),
				BrixPct: math.NaN()})
		}
	}
	in := forecast.Inputs{Site: s.site, Bulletin: weather.Bulletin{Source: "replay", IssuedAt: now, Course: s.expected(now, seed),
		ElevationM: math.NaN()}, Visits: visits, Classes: s.classes, Now: now, Seed: uint64(now.Unix())}
	if s.storm.ID != "" && !s.storm.Sent.After(now) && s.storm.To.After(now) {
		in.Watch.Warnings = weather.Warnings{State: weather.WarningsKnown, KnownAt: now, List: []weather.Warning{s.storm}}
	}
	o, err := forecast.Make(in)
	if err != nil {
		t.Fatal(err)
	}
	return &o
}

// notes is a memory of all that was decided.
type notes struct {
	list []Decision
	at   []time.Time
}

func (n *notes) Last(_ string, kind Kind, begins string) (Decision, time.Time, bool, error) {
	for i := len(n.list) - 1; i >= 0; i-- {
		if n.list[i].Kind == kind && strings.HasPrefix(n.list[i].Key, string(kind)+":"+begins) {
			return n.list[i], n.at[i], true, nil
		}
	}
	return Decision{}, time.Time{}, false, nil
}

// add keeps what is new.
func (n *notes) add(list []Decision, now time.Time) {
	for _, d := range list {
		if !slices.ContainsFunc(n.list, func(old Decision) bool { return old.Key == d.Key }) {
			n.list, n.at = append(n.list, d), append(n.at, now)
		}
	}
}
