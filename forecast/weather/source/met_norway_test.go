package source

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"thawline/forecast/weather"
)

type metTest map[string]any

// metTestBody is an answer for 44.62 north, 72 west, 420 m, whose steps begin
// at the given hours of 20 March.
func metTestBody(t interface{ Fatal(...any) }, longitudeDeg float64, hours []int, data ...metTest) []byte {
	steps := make([]any, len(hours))
	for i, h := range hours {
		steps[i] = metTest{"time": time.Date(2026, 3, 20, h, 0, 0, 0, time.UTC), "data": data[i]}
	}
	body, err := json.Marshal(metTest{"geometry": metTest{"coordinates": []float64{longitudeDeg, 44.62, 420}},
		"properties": metTest{"meta": metTest{"updated_at": "2026-03-19T23:10:00Z"}, "timeseries": steps}})
	if err != nil {
		t.Fatal(err)
	}
	return body
}

func metTestData(instant, nextHour, nextSix metTest) metTest {
	d := metTest{"instant": metTest{"details": instant}}
	if nextHour != nil {
		d["next_1_hours"] = metTest{"details": nextHour}
	}
	if nextSix != nil {
		d["next_6_hours"] = metTest{"details": nextSix}
	}
	return d
}

// Between its ends a six-hour step reaches each stated extreme that lies beyond
// them, goes past neither, and turns no more often than it has extremes.
func TestSixHourStepsForAnyWeather(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		kelvin := rapid.Float64Range(-30, 30)
		a, b := kelvin.Draw(t, "begin"), kelvin.Draw(t, "end")
		low, high := min(a, b)+rapid.Float64Range(-15, 5).Draw(t, "low"), max(a, b)+rapid.Float64Range(-5, 15).Draw(t, "high")
		start := rapid.IntRange(0, 23).Draw(t, "start")
		longitude := rapid.Float64Range(-180, 180).Draw(t, "longitude")
		got, err := readMETNorway(metTestBody(t, longitude, []int{start, start + 6, start + 12},
			metTestData(metTest{"air_temperature": a}, nil, metTest{"air_temperature_min": low, "air_temperature_max": high}),
			metTestData(metTest{"air_temperature": b}, nil, nil), metTestData(metTest{"air_temperature": a}, nil, nil)))
		if err != nil {
			t.Fatal(err)
		}
		col := got.course.Col(weather.TemperatureC)
		if len(col) != 13 || col[0] != a || col[6] != b || col[12] != a {
			t.Fatalf("the ends moved: %v", col)
		}
		wantLow, wantHigh := min(a, b, low), max(a, b, high)
		least, most, turns, way := math.Inf(1), math.Inf(-1), 0, 0.0
		for h := range 7 {
			least, most = min(least, col[h]), max(most, col[h])
			if h == 0 || math.Abs(col[h]-col[h-1]) < 1e-9 {
				continue
			}
			if now := math.Copysign(1, col[h]-col[h-1]); now != way {
				turns, way = turns+1, now
			}
		}
		if math.Abs(least-wantLow) > 0.01 || math.Abs(most-wantHigh) > 0.01 {
			t.Fatalf("from %.2f to %.2f, want %.2f to %.2f: %v", least, most, wantLow, wantHigh, col)
		}
		if turns > 3 { // the first way counts as one
			t.Fatalf("turns %d times: %v", turns, col)
		}
	})
}

func TestExtremesOfSixHourStepsAtTheirTimeOfDay(t *testing.T) {
	extremes := metTest{"air_temperature_min": -6, "air_temperature_max": 9}
	flat := metTestData(metTest{"air_temperature": 1}, nil, extremes)
	a, err := readMETNorway(metTestBody(t, -75, []int{6, 12, 18, 24}, flat, flat, flat, flat)) // five hours behind UTC
	if err != nil {
		t.Fatal(err)
	}
	// 05:30 is 10:30 UTC, 14:30 is 19:30 UTC; a half is rounded up.
	for hour, want := range map[int]float64{11: -6, 20: 9} {
		if got := a.course.At(weather.TemperatureC, hour-6); math.Abs(got-want) > 0.01 {
			t.Errorf("%02d UTC: %.2f °C, want %.0f", hour, got, want)
		}
	}
}

func TestMETNorwayStepsThatAreNotDrawnThrough(t *testing.T) {
	at := func(c float64) metTest { return metTestData(metTest{"air_temperature": c}, nil, nil) }
	a, err := readMETNorway(metTestBody(t, -72, []int{0, 3, 6, 9, 21}, at(0), at(3), metTestData(metTest{}, nil, nil), at(5), at(2)))
	if err != nil {
		t.Fatal(err)
	}
	var known []int
	for h, x := range a.course.Col(weather.TemperatureC) {
		if !math.IsNaN(x) {
			known = append(known, h)
		}
	}
	if diff := cmp.Diff([]int{0, 1, 2, 3, 9, 21}, known); diff != "" {
		t.Error(diff)
	}
}

// Rain of an hour stands before that of six, and no hour holds both.
func TestMETNorwayRain(t *testing.T) {
	rain := func(one, six metTest) metTest { return metTestData(metTest{"air_temperature": 1}, one, six) }
	mm := func(x float64) metTest { return metTest{"precipitation_amount": x} }
	a, err := readMETNorway(metTestBody(t, -72, []int{0, 1, 2, 8, 14}, rain(mm(1), mm(12)), rain(mm(0.4), mm(9)), rain(nil, mm(3)),
		rain(nil, nil), rain(nil, mm(6))))
	if err != nil {
		t.Fatal(err)
	}
	gap := math.NaN()
	want := []float64{1, 0.4, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, gap, gap, gap, gap, gap, gap, 1}
	if diff := cmp.Diff(want, a.course.Col(weather.PrecipitationMM), cmp.Comparer(func(x, y float64) bool {
		return math.IsNaN(x) && math.IsNaN(y) || math.Abs(x-y) < 1e-12
	})); diff != "" {
		t.Error(diff)
	}
}

func TestMETNorwayPressureIsTheStations(t *testing.T) {
	step := metTestData(metTest{"air_temperature": 0, "air_pressure_at_sea_level": 1013.25}, nil, nil)
	a, err := readMETNorway(metTestBody(t, -72, []int{0, 1}, step, step))
	if err != nil {
		t.Fatal(err)
	}
	// 420 m of air at 1.4 °C on average and 9.80665 m/s²: exp(-420/8037.6) by
	// the isothermal barometric formula.
	if got := a.course.At(weather.SurfacePressureHPa, 0); math.Abs(got-1013.25*math.Exp(-420/8037.6)) > 0.1 {
		t.Errorf("%.2f hPa at 420 m", got)
	}
}

func TestMETNorwayIsAskedAsItWishes(t *testing.T) {
	step := metTestData(metTest{"air_temperature": 0}, nil, nil)
	body := metTestBody(t, -72, []int{0, 1}, step, step)
	for _, c := range []struct {
		base   string
		place  weather.Place
		status int
		want   string
		notes  int
	}{
		{"", weather.Place{LatitudeDeg: 44.123456, LongitudeDeg: -72.5, ElevationM: 419.6}, http.StatusOK,
			metPath + "/complete?altitude=420&lat=44.1235&lon=-72.5", 0},
		{metPath, weather.Place{LatitudeDeg: 45, LongitudeDeg: -72, ElevationM: math.NaN()}, http.StatusOK,
			metPath + "/complete?lat=45&lon=-72", 0},
		{metPath + "/complete/", bush, http.StatusNonAuthoritativeInfo, metPath + "/complete?altitude=420&lat=44.62&lon=-72.31", 1},
		{"/mirror/", bush, http.StatusOK, "/mirror" + metPath + "/complete?altitude=420&lat=44.62&lon=-72.31", 0},
	} {
		var asked string
		server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			asked = r.URL.String()
			w.WriteHeader(c.status)
			_, _ = w.Write(body) // a caller that has gone is no failure of ours
		}))
		m := NewMETNorway(newTestClient(t, nil), METNorwayOptions{BaseURL: server.URL + c.base})
		b, err := m.Forecast(context.Background(), Request{Place: c.place, Now: ask.Now})
		server.Close()
		if err != nil {
			t.Fatal(err)
		}
		if asked != c.want || len(b.Remarks) != c.notes || b.ElevationM != 420 ||
			!b.IssuedAt.Equal(time.Date(2026, 3, 19, 23, 10, 0, 0, time.UTC)) {
			t.Errorf("%s: asked %s, remarks %v, %v m, issued %s", c.base, asked, b.Remarks, b.ElevationM, b.IssuedAt)
		}
	}
}

func TestMETNorwayWantsAContactHoweverItsAddressIsSpelt(t *testing.T) {
	c := newTestClient(t, func(o *Options) { o.Contact, o.Transport = "", http.NewFileTransport(http.Dir(t.TempDir())) })
	for _, base := range []string{"", metHost, metHost + "/", metHost + metPath, metHost + metPath + "/complete"} {
		_, err := NewMETNorway(c, METNorwayOptions{BaseURL: base}).Forecast(context.Background(), ask)
		var f *Fault
		if !errors.As(err, &f) || f.Kind != Refused || f.Remedy != "set weather.contact to an e-mail or web address" {
			t.Errorf("%q: %v", base, err)
		}
	}
}
