package forecast

import (
	"bytes"
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/forecast/records"
	"thawline/forecast/trunk"
	"thawline/forecast/weather"
)

var march = time.Date(2026, 3, 10, 22, 0, 0, 0, time.UTC)

// bush is a small site near 44° N.
func bush(t testing.TB) Site {
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	return Site{ID: "b", Name: "Bush", Place: weather.Place{LatitudeDeg: 44, LongitudeDeg: -72, ElevationM: 300}, Zone: zone,
		TreeDiameterM: 0.3, Exposure: trunk.Exposed(trunk.Closed, math.NaN()),
		Groups: []Group{{ID: "pails", Taps: 50, Method: "pail", ContainerL: 7.5}}}
}

// waves is a bulletin of frost by night and thaw by day around a mean, in °C.
func waves(mean, swing float64, pastDays, days int) weather.Bulletin {
	s := weather.NewSeries(march.Add(-time.Duration(pastDays)*24*time.Hour), (pastDays+days)*24)
	for i := range s.Hours() {
		at := s.Time(i)
		hour := float64(at.Hour()) - 72.0/15
		s.Col(weather.TemperatureC)[i] = mean - swing*math.Cos(2*math.Pi*(hour-3)/24)
		s.Col(weather.CloudCoverPct)[i] = 40
		s.Col(weather.WindSpeedMS)[i] = 3
		s.Col(weather.SurfacePressureHPa)[i] = 975
	}
	return weather.Bulletin{Source: "test", IssuedAt: march.Add(-2 * time.Hour), Course: s, ElevationM: math.NaN()}
}

func mustMake(t testing.TB, in Inputs) Outlook {
	t.Helper()
	o, err := Make(in)
	if err != nil {
		t.Fatal(err)
	}
	return o
}

func TestColdIsStillAndFreezeThawRuns(t *testing.T) {
	cold := mustMake(t, Inputs{Site: bush(t), Bulletin: waves(-14, 5, 14, 10), Now: march, Seed: 1})
	runs := mustMake(t, Inputs{Site: bush(t), Bulletin: waves(1, 7, 14, 10), Now: march, Seed: 1})
	warm := mustMake(t, Inputs{Site: bush(t), Bulletin: waves(14, 6, 14, 10), Now: march, Seed: 1})
	if d := cold.Days[1]; d.RunProbability > 0.01 || d.FlowScore > 2 || d.Class != Still || d.Window != nil {
		t.Errorf("hard frost: %+v", d)
	}
	if d := runs.Days[1]; d.RunProbability < 0.75 || d.FlowScore < 40 || d.Window == nil {
		t.Errorf("frost and thaw: %+v", d)
	}
	if d := warm.Days[1]; d.RunProbability > 0.01 {
		t.Errorf("days without frost: %+v", d)
	}
}

func TestSameInputsGiveSameOutlook(t *testing.T) {
	in := Inputs{Site: bush(t), Bulletin: waves(1, 7, 10, 10), Now: march, Seed: 4}
	a, b := mustMake(t, in), mustMake(t, in)
	if d := cmp.Diff(a, b); d != "" {
		t.Errorf("two outlooks from the same inputs differ:\n%s", d)
	}
}

func TestVolumesScaleWithTaps(t *testing.T) {
	small, large := bush(t), bush(t)
	large.Groups = []Group{{ID: "pails", Taps: 500, Method: "pail", ContainerL: 7.5}}
	a := mustMake(t, Inputs{Site: small, Bulletin: waves(1, 7, 10, 10), Now: march, Seed: 4})
	b := mustMake(t, Inputs{Site: large, Bulletin: waves(1, 7, 10, 10), Now: march, Seed: 4})
	for i := range a.Days {
		if got, want := b.Days[i].VolumeL.P50, 10*a.Days[i].VolumeL.P50; math.Abs(got-want) > 0.1 {
			t.Errorf("%s: %.2f L from ten times the taps, want %.2f", a.Days[i].Date, got, want)
		}
		if a.Days[i].RunProbability != b.Days[i].RunProbability {
			t.Errorf("%s: another chance of a run with more taps", a.Days[i].Date)
		}
	}
}

func TestSpreadGrowsWithLead(t *testing.T) {
	o := mustMake(t, Inputs{Site: bush(t), Bulletin: waves(1, 7, 14, 14), Now: march, Seed: 2})
	width := func(d Day) float64 { return math.Log((d.VolumeL.P90 + 1) / (d.VolumeL.P10 + 1)) }
	if early, late := width(o.Days[1]), width(o.Days[10]); late <= early {
		t.Errorf("tomorrow's range is as wide as that in ten days: %.2f and %.2f", early, late)
	}
}

func TestDaysBeginWithTodayAndCoverClockChange(t *testing.T) {
	site := bush(t)
	b := waves(1, 7, 7, 10)
	now := time.Date(2026, 3, 7, 23, 30, 0, 0, time.UTC) // the evening before clocks go forward
	b.IssuedAt = now
	b.Course = waves(1, 7, 10, 10).Course
	o := mustMake(t, Inputs{Site: site, Bulletin: b, Now: now, Seed: 1})
	if o.Days[0].Date != "2026-03-07" || o.Days[1].Date != "2026-03-08" || o.Days[1].Hours != 23 || o.Days[2].Hours != 24 {
		t.Errorf("%+v", o.Days[:3])
	}
}

func TestGapEndsForecastAndOldPastIsLeftOut(t *testing.T) {
	b := waves(1, 7, 14, 10)
	col := b.Course.Col(weather.TemperatureC)
	for i := 14*24 + 60; i < 14*24+75; i++ { // fifteen hours missing, two and a half days ahead
		col[i] = math.NaN()
	}
	for i := 100; i < 110; i++ {
		col[i] = math.NaN()
	}
	col[14*24+20] = math.NaN() // one hour missing: bridged
	o := mustMake(t, Inputs{Site: bush(t), Bulletin: b, Now: march, Seed: 1})
	if len(o.Days) != 3 {
		t.Errorf("%d days from a forecast that breaks off after 60 hours", len(o.Days))
	}
	if want := 14*24 + 1 - 110; o.Source.PastHours != want {
		t.Errorf("%d hours of past, want %d", o.Source.PastHours, want)
	}
}

func TestLastVisitSetsWhatPailsHold(t *testing.T) {
	site := bush(t)
	visits := []records.Visit{
		{Group: "pails", CollectedAt: march.Add(-49 * time.Hour), VolumeL: 80},
		{Group: "pails", CollectedAt: march.Add(-3 * time.Hour), VolumeL: math.NaN(), Note: "not checked"},
	}
	with := mustMake(t, Inputs{Site: site, Bulletin: waves(1, 7, 14, 10), Visits: visits, Now: march, Seed: 1})
	without := mustMake(t, Inputs{Site: site, Bulletin: waves(1, 7, 14, 10), Now: march, Seed: 1})
	if with.Work.Groups[0].SinceVisit == nil || !with.Work.Groups[0].SinceVisit.Equal(march.Add(-49*time.Hour)) ||
		with.Work.Groups[0].HeldL.P50 < 20 {
		t.Errorf("after two days: %+v", with.Work.Groups[0])
	}
	if without.Work.Groups[0].SinceVisit != nil || without.Work.Groups[0].AloneProbability > with.Work.Groups[0].AloneProbability {
		t.Errorf("nothing known: %+v, known: %+v", without.Work.Groups[0], with.Work.Groups[0])
	}
}

func TestNothingRunsBeforeTapping(t *testing.T) {
	site := bush(t)
	site.Groups[0].Tapped = march.Add(3 * 24 * time.Hour)
	o := mustMake(t, Inputs{Site: site, Bulletin: waves(1, 7, 14, 10), Now: march, Seed: 1})
	if o.Days[1].VolumeL.P90 != 0 || o.Days[5].VolumeL.P50 == 0 {
		t.Errorf("before tapping %+v, after it %+v", o.Days[1].VolumeL, o.Days[5].VolumeL)
	}
}

func TestGapAtThePresentHour(t *testing.T) {
	b := waves(1, 7, 14, 10)
	for i := 14*24 - 9; i <= 14*24; i++ {
		b.Course.Col(weather.TemperatureC)[i] = math.NaN()
	}
	o := mustMake(t, Inputs{Site: bush(t), Bulletin: b, Now: march, Seed: 1})
	if o.Source.PastHours != 0 || !(o.Days[2].VolumeL.P50 > 0) {
		t.Errorf("%d hours of past, %+v", o.Source.PastHours, o.Days[2])
	}
}

func TestOutlookIsPlainJSON(t *testing.T) {
	o := mustMake(t, Inputs{Site: bush(t), Bulletin: waves(1, 7, 0, 10), Now: march, Seed: 1})
	data, err := json.Marshal(o)
	if err != nil {
		t.Fatal(err)
	}
	for _, key := range []string{"site", "issued_at", "source", "days", "work", "boil", "season", "cautions", "attribution"} {
		if !bytes.Contains(data, []byte(`"`+key+`":`)) {
			t.Errorf("no %s in the document", key)
		}
		if bytes.Contains(data, []byte(`"`+key+`":null`)) {
			t.Errorf("%s is null", key)
		}
	}
}

func TestFaultsSayWhatToDo(t *testing.T) {
	short := waves(1, 7, 3, 10)
	short.Course = short.Course.Slice(0, 3*24+5)
	none := bush(t)
	none.Groups = nil
	for _, c := range []struct {
		in   Inputs
		want string
	}{
		{Inputs{Site: none, Bulletin: waves(1, 7, 3, 3), Now: march}, "site b has no taps: give each group its number of taps"},
		{Inputs{Site: bush(t), Bulletin: short, Now: march},
			"outlook for b: test: the forecast holds 4 unbroken hours after 2026-03-10 22:00 UTC, and at least 12 are needed; ask again later or add another source"},
	} {
		if _, err := Make(c.in); err == nil || err.Error() != c.want {
			t.Errorf("got %v\nwant %s", err, c.want)
		}
	}
}

// One outlook as the daemon makes it: two weeks of past, 51 members, 16 days.
func BenchmarkMake(b *testing.B) {
	in := Inputs{Site: bush(b), Bulletin: waves(1, 7, 14, 17), Now: march, Seed: 1}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Make(in); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkMakeOfMembers is an outlook from a service's own 51 members.
func BenchmarkMakeOfMembers(b *testing.B) {
	in := Inputs{Site: bush(b), Bulletin: waves(1, 7, 14, 17), Now: march, Seed: 1}
	control := in.Bulletin.Course.Slice(in.Bulletin.Course.Index(march), in.Bulletin.Course.Hours())
	in.Bulletin.Members = weather.ErrorMembers(&control, in.Site.Place, march, weather.MemberCount, 1)
	in.Bulletin.Errors = &weather.UsualErrors
	for b.Loop() {
		if _, err := Make(in); err != nil {
			b.Fatal(err)
		}
	}
}

// Late in the season of a large bush: six groups tapped on days of their own, with forty
// visits each, and the weather of a hundred days.
func BenchmarkMakeLate(b *testing.B) {
	in := Inputs{Site: bush(b), Bulletin: waves(1, 7, 100, 17), Now: march, Seed: 1}
	group := in.Site.Groups[0]
	in.Site.Groups = nil
	for g := range 6 {
		one := group
		one.ID, one.Tapped = string(rune('a'+g)), march.AddDate(0, 0, -60-g)
		in.Site.Groups = append(in.Site.Groups, one)
		for v := range 40 {
			litres := 60 * (1 + 0.5*math.Sin(float64(7*v+g)))
			in.Visits = append(in.Visits,
				records.Visit{Group: one.ID, CollectedAt: march.Add(-time.Duration(33*v+2) * time.Hour), Taps: 50, VolumeL: litres,
					BrixPct: math.NaN()})
		}
	}
	for b.Loop() {
		if _, err := Make(in); err != nil {
			b.Fatal(err)
		}
	}
}
