package source

import (
	"context"
	"errors"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"thawline/forecast/weather"
	"thawline/testdata"
)

// spoiled is the replay server with one fault in what the first two services
// say.
func spoiled(spoil func(w http.ResponseWriter, body string)) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if p := r.URL.Path; !strings.HasPrefix(p, "/v1/") && !strings.HasPrefix(p, "/gridpoints/") || strings.HasSuffix(p, "/stations") {
			testdata.Handler().ServeHTTP(w, r)
			return
		}
		rec := httptest.NewRecorder()
		testdata.Handler().ServeHTTP(rec, r)
		spoil(w, rec.Body.String())
	})
}

func say(w http.ResponseWriter, status int, contentType, body string) {
	w.Header().Set("Content-Type", contentType)
	w.WriteHeader(status)
	_, _ = w.Write([]byte(body))
}

func TestFirstTwoFailTheThirdAnswers(t *testing.T) {
	cases := map[string]struct {
		spoil func(w http.ResponseWriter, body string)
		want  string // in the words about both
	}{
		"time-out": {func(w http.ResponseWriter, _ string) { time.Sleep(400 * time.Millisecond); w.WriteHeader(200) },
			"no answer within 300ms"},
		"503": {func(w http.ResponseWriter, _ string) { w.WriteHeader(503) }, "answered 503 (Service Unavailable)"},
		"truncated": {func(w http.ResponseWriter, b string) { say(w, 200, "application/json", b[:len(b)/2]) },
			"can't be read: the answer breaks off"},
		"HTML": {func(w http.ResponseWriter, _ string) {
			say(w, 200, "text/html", "<html><head><title>Hotel guest login</title></head></html>")
		}, "a web page instead of data (Hotel guest login)"},
		"empty": {func(w http.ResponseWriter, _ string) { say(w, 200, "application/json", "") }, "the answer is empty"},
		"nulls": {func(w http.ResponseWriter, _ string) {
			say(w, 200, "application/json", `{"hourly":null,"properties":null}`)
		}, "is missing"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			server := httptest.NewServer(spoiled(c.spoil))
			defer server.Close()
			chain := Chain{Forecasters: allServices(newTestClient(t, nil), server.URL)}
			o, err := chain.Ask(context.Background(), "bush", ask)
			if err != nil {
				t.Fatal(err)
			}
			if o.Bulletin.Source != METNorwayName || len(o.Attempts) != 2 {
				t.Fatalf("%s answered after %d failures", o.Bulletin.Source, len(o.Attempts))
			}
			for _, a := range o.Attempts {
				if !strings.Contains(a.Fault.Error(), c.want) {
					t.Errorf("%s, want %q in it", a.Fault.Error(), c.want)
				}
			}
		})
	}
}

// said is a service that says the same bulletin each time.
type said struct {
	name string
	b    weather.Bulletin
	err  error
}

func (s said) Name() string { return s.name }
func (s said) Forecast(context.Context, Request) (weather.Bulletin, error) {
	if s.name == "panics" {
		panic("index out of range")
	}
	return s.b, s.err
}

func bulletin(change func(*weather.Bulletin)) weather.Bulletin {
	s := weather.NewSeries(ask.Now.Add(-100*time.Hour), 400)
	for i := range s.Hours() {
		s.Col(weather.TemperatureC)[i] = 13 - 2*math.Abs(float64((i+10)%24-12)) // warmest in the afternoon
	}
	b := weather.Bulletin{Source: "said", IssuedAt: ask.Now.Add(-time.Hour), Course: s, ElevationM: 400}
	if change != nil {
		change(&b)
	}
	return b
}

func TestWhatTheChainRefuses(t *testing.T) {
	now := func(b *weather.Bulletin) int { return b.Course.Index(ask.Now) }
	cases := map[string]struct {
		first said
		want  string
	}{
		"issued in the future": {said{name: "said", b: bulletin(func(b *weather.Bulletin) { b.IssuedAt = ask.Now.Add(3 * time.Hour) })},
			"said: its forecast was issued 3.0 h in the future; check this computer's clock"},
		"too old": {said{name: "said", b: bulletin(func(b *weather.Bulletin) { b.IssuedAt = ask.Now.Add(-80 * time.Hour) })},
			"said: its forecast is 80 h old"},
		"other hours": {said{name: "said", b: bulletin(func(b *weather.Bulletin) { b.Course = b.Course.Slice(0, 90) })},
			"said: its forecast covers 2026-03-16 17:00 to 2026-03-20 11:00 UTC, not the coming day"},
		"a gap of hours": {said{name: "said", b: bulletin(func(b *weather.Bulletin) {
			for i := now(b) + 3; i < now(b)+13; i++ {
				b.Course.Col(weather.TemperatureC)[i] = nan
			}
		})}, "said: can't be read: the temperature is known for 14 of the next 24 hours"},
		"absurd": {said{name: "said", b: bulletin(func(b *weather.Bulletin) { b.Course.Col(weather.TemperatureC)[120] = 271.3 })},
			"said: can't be read: temperature_c is 271.3 at 2026-03-21 17:00 UTC"},
		"panics": {said{name: "panics"},
			"panics: can't be read: thawline stumbled over the answer (index out of range); please report this"},
		"another error": {said{name: "said", err: errors.New("no idea")}, "said: no idea"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			chain := Chain{Forecasters: []Forecaster{c.first, said{name: "good", b: bulletin(nil)}}}
			o, err := chain.Ask(context.Background(), "b", ask)
			if err != nil || len(o.Attempts) != 1 {
				t.Fatalf("%d failures: %v", len(o.Attempts), err)
			}
			if got := o.Attempts[0].Fault.Error(); got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
}

// Forecasts in steps of three and six hours are whole once short gaps are
// bridged.
func TestStepsOfThreeAndSixHoursStand(t *testing.T) {
	for _, step := range []int{3, 6} {
		b := bulletin(func(b *weather.Bulletin) {
			for i := range b.Course.Hours() {
				if i%step != 0 {
					b.Course.Col(weather.TemperatureC)[i] = nan
				}
			}
		})
		chain := Chain{Forecasters: []Forecaster{said{name: "said", b: b}}}
		if _, err := chain.Ask(context.Background(), "b", ask); err != nil {
			t.Errorf("every %d hours: %v", step, err)
		}
	}
}

func TestLastGoodForecastIsKept(t *testing.T) {
	keep, err := NewKeep(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	good := bulletin(func(b *weather.Bulletin) {
		b.Course.Col(weather.DewPointC)[3] = -4.5
		b.Members = []weather.Series{b.Course.Slice(100, 200)}
		b.Credits = []weather.Credit{{Text: "somebody"}}
	})
	first := Chain{Forecasters: []Forecaster{said{name: "said", b: good}}, Keep: keep}
	site := "../hill @44,-72"
	if _, err := first.Ask(context.Background(), site, ask); err != nil {
		t.Fatal(err)
	}
	dead := Chain{Forecasters: []Forecaster{said{name: "said",
		err: &Fault{Service: "said", Kind: Unreachable, Detail: "no answer within 10s"}}}, Keep: keep}
	later := ask
	later.Now = ask.Now.Add(20 * time.Hour)
	o, err := dead.Ask(context.Background(), site, later)
	if err != nil || !o.Kept || o.Age != 21*time.Hour {
		t.Fatalf("kept %v, %s old: %v", o.Kept, o.Age, err)
	}
	columns := func(s *weather.Series) map[string]any {
		m := map[string]any{"start": s.Start(), "hours": s.Hours()}
		for _, v := range weather.Variables() {
			var col []*float64
			for i := range s.Hours() {
				col = append(col, orNull(s.At(v, i)))
			}
			m[v.String()] = col
		}
		return m
	}
	if d := cmp.Diff(columns(&good.Course), columns(&o.Bulletin.Course)); d != "" {
		t.Errorf("the course came back changed:\n%s", d)
	}
	if d := cmp.Diff(columns(&good.Members[0]), columns(&o.Bulletin.Members[0])); d != "" {
		t.Errorf("the member came back changed:\n%s", d)
	}

	later.Now = ask.Now.Add(30 * 24 * time.Hour)
	_, err = dead.Ask(context.Background(), site, later)
	want := "no weather for the bush ../hill  at 44, -72: no service gave a forecast that can be used:\n  said: no answer within 10s\n" +
		"  the last good forecast, of 2026-03-20 20:30 UTC, is too old\ncheck the internet connection and weather.sources, or ask again later"
	if err == nil || err.Error() != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
}

// An error calls a bush what people call it.
func TestErrorsCallABushByWords(t *testing.T) {
	for key, want := range map[string]string{"here@44.3,-72.6": "the bush at 44.3, -72.6", "hill@44.3,-72.6": "the bush hill at 44.3, -72.6", "hill": "hill"} {
		if got := inWords(key); got != want {
			t.Errorf("%s: got %q, want %q", key, got, want)
		}
	}
	if _, err := (&Chain{}).Ask(t.Context(), "here@44.3,-72.6", Request{}); err == nil || strings.Contains(err.Error(), "@") {
		t.Errorf("got %v", err)
	}
}

func TestDamagedKeptForecastIsTold(t *testing.T) {
	dir := t.TempDir()
	keep, err := NewKeep(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, body := range []string{"", "{", `{"course":{"hours":99999999999}}`, `[]`} {
		if err := os.WriteFile(keep.path("b"), []byte(body), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, _, err := keep.Load(t.Context(), "b"); err == nil || !strings.Contains(err.Error(), "is damaged") {
			t.Errorf("%q: %v", body, err)
		}
	}
}

// remembers is a service that also knows the past, and counts who asks.
type remembers struct {
	said
	asked *int
}

func (r remembers) History(context.Context, weather.Place, time.Time, time.Time) (weather.Series, []weather.Credit, error) {
	*r.asked++
	past := bulletin(nil).Course
	return past, []weather.Credit{{Text: "past"}}, nil
}

func TestPastComesFromAnotherServiceThatIsWell(t *testing.T) {
	young := bulletin(func(b *weather.Bulletin) { b.Course = b.Course.Slice(95, 400) })
	dead, well, spare := 0, 0, 0
	chain := Chain{Forecasters: []Forecaster{
		remembers{said{name: "dead", err: &Fault{Service: "dead", Kind: Unreachable, Detail: "no answer"}}, &dead},
		said{name: "young", b: young},
		remembers{said{name: "well"}, &well}, remembers{said{name: "spare"}, &spare},
	}}
	o, err := chain.Ask(context.Background(), "b", ask)
	if err != nil || dead != 0 || well != 1 || spare != 0 {
		t.Fatalf("asked the dead %d, the well %d, the spare %d times: %v", dead, well, spare, err)
	}
	if b := o.Bulletin; b.Course.Index(ask.Now) < 90 || len(b.Credits) != 1 || len(b.Remarks) != 1 ||
		b.Remarks[0] != (weather.Remark{Kind: weather.PastFrom, Name: "well"}) {
		t.Errorf("%d hours of past, credits %v, remarks %v", b.Course.Index(ask.Now), b.Credits, b.Remarks)
	}
}
