package intake

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

var (
	keeper = auth.Identity{Person: "kim", Name: "Kim", Role: auth.Keeper}
	now    = time.Date(2026, 3, 20, 21, 30, 0, 0, time.UTC)
)

func bush(id string) *forecast.Site {
	return &forecast.Site{ID: id, Zone: time.FixedZone("", -4*3600), Tanks: []forecast.Tank{{ID: "big", VolumeL: 1000}},
		Groups: []forecast.Group{{ID: "north", Name: "North slope", Taps: 60, ContainerL: 15},
			{ID: "lane", Name: "Lane", Taps: 100, TankID: "big", TankL: 714},
			{ID: "brook", Name: "Brook", Taps: 40, TankID: "big", TankL: 286}}}
}

func opened(t *testing.T) Service {
	t.Helper()
	a, err := archive.Open(context.Background(), filepath.Join(t.TempDir(), "i.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = a.Close() })
	return Service{Archive: a}
}

func words(t testing.TB, lang string) *message.Words {
	t.Helper()
	w, err := message.NewWords(message.Reader{Language: lang, Units: units.Metric})
	if err != nil {
		t.Fatal(err)
	}
	return w
}

var rounds = rapid.Custom(func(t *rapid.T) records.Visit {
	v := records.Visit{Group: rapid.SampledFrom([]string{"", "north", "North Slope", "lane", "brook", "nort"}).Draw(t, "group"),
		VolumeL: rapid.OneOf(rapid.Just(math.NaN()), rapid.Float64Range(-5, 2000)).Draw(t, "volume"),
		BrixPct: rapid.OneOf(rapid.Just(math.NaN()), rapid.Float64Range(-1, 15)).Draw(t, "brix"),
		Taps:    rapid.IntRange(0, 70).Draw(t, "taps"),
		Note:    rapid.SampledFrom([]string{"", "full", "ice, full", "not checked", "plein", "dumped", "  two\n lines "}).Draw(t, "note")}
	if rapid.Bool().Draw(t, "said") {
		v.CollectedAt = now.Add(time.Duration(rapid.IntRange(-4000, 120).Draw(t, "minutes")) * time.Minute)
		v.DateOnly = rapid.Bool().Draw(t, "day")
	}
	return v
})

// The same record is judged, kept and answered in the same way, whichever way it comes.
func TestEveryWayIsTheSame(t *testing.T) {
	s := opened(t)
	w := map[string]*message.Words{"en": words(t, "en"), "fr": words(t, "fr")}
	same := cmp.Options{cmpopts.EquateNaNs(), cmpopts.IgnoreFields(Record{}, "ID"), cmpopts.IgnoreFields(records.Visit{}, "Site"),
		cmpopts.IgnoreFields(Result{}, "Number")}
	n := 0
	rapid.Check(t, func(t *rapid.T) {
		before := rapid.SliceOfN(rounds, 0, 3).Draw(t, "before")
		v := rounds.Draw(t, "round")
		var first Result
		for i, way := range Ways() {
			n++
			site := bush(fmt.Sprint("hill", n))
			for k := range before {
				if _, err := s.Take(context.Background(), Entry{Site: site, Visits: before[k : k+1], Way: Form, From: keeper},
					now); err != nil {
					t.Fatal(err)
				}
			}
			r, err := s.Take(context.Background(), Entry{Site: site, Visits: []records.Visit{v}, Way: way, From: keeper}, now)
			if err != nil {
				t.Fatal(err)
			}
			if i == 0 {
				first = r
				continue
			}
			if d := cmp.Diff(first, r, same); d != "" {
				t.Errorf("%s against %s:\n%s", way, Ways()[0], d)
			}
			for lang := range w {
				a, b := first.Say(w[lang]), r.Say(w[lang])
				if a != b || a == "" || strings.Contains(a, "<no value>") || strings.Contains(a, "intake_") {
					t.Errorf("%s: %q, %s: %q", Ways()[0], a, way, b)
				}
			}
		}
	})
}

// A file that comes again adds nothing and corrects nothing, also where its rows are loads
// of one visit, or say the same within minutes.
func TestAFileCountsOnce(t *testing.T) {
	s := opened(t)
	n := 0
	rapid.Check(t, func(t *rapid.T) {
		n++
		site := bush(fmt.Sprint("hill", n))
		var rows []records.Visit
		for i, minute := range rapid.SliceOfNDistinct(rapid.IntRange(0, 900), 1, 12, rapid.ID[int]).Draw(t, "minutes") {
			v := records.Visit{Group: rapid.SampledFrom([]string{"north", "lane"}).Draw(t, "group"),
				CollectedAt: now.AddDate(0, 0, -2).Add(time.Duration(minute) * time.Minute), BrixPct: math.NaN(), Line: i + 2,
				VolumeL: float64(rapid.IntRange(0, 3).Draw(t, "tens") * 10), Note: rapid.SampledFrom([]string{"", "full"}).Draw(t, "note")}
			rows = append(rows, v)
		}
		kept := func() string {
			all, err := s.Archive.Visits(context.Background(), site.ID, time.Time{}, site.Zone)
			if err != nil {
				t.Fatal(err)
			}
			var out []string
			for i := range all {
				out = append(out, fmt.Sprint(all[i].Group, all[i].CollectedAt, all[i].VolumeL, all[i].Note, all[i].Revision))
			}
			return strings.Join(out, "\n")
		}
		take := func() Result {
			r, err := s.Take(context.Background(), Entry{Site: site, Visits: slices.Clone(rows), Way: Import, From: keeper}, now)
			if err != nil || r.Refused {
				t.Fatal(err, r)
			}
			return r
		}
		take()
		first := kept()
		again := take()
		if got := again.Outcomes()[Same]; got != len(rows) || again.Wrote || kept() != first {
			t.Errorf("%d of %d are known again\n%s\nthen\n%s", got, len(rows), first, kept())
		}
	})
}

// Sugar and a note that come later belong to the record that was entered just before;
// what was written down with a moment of its own stays as it is.
func TestSugarComesLater(t *testing.T) {
	s := opened(t)
	site := bush("hill")
	take := func(after time.Duration, v records.Visit) Record {
		t.Helper()
		r, err := s.Take(t.Context(), Entry{Site: site, Visits: []records.Visit{v}, Way: Text, From: keeper}, now.Add(after))
		if err != nil {
			t.Fatal(err)
		}
		return r.Records[0]
	}
	take(0, records.Visit{Group: "north", VolumeL: 80, BrixPct: math.NaN()})
	if got := take(time.Minute, records.Visit{Group: "north", VolumeL: 80, BrixPct: 2.1, Note: "ice"}); got.Outcome != Corrected ||
		got.Visit.BrixPct != 2.1 || got.Visit.Note != "ice" {
		t.Errorf("%+v", got)
	}
	if got := take(2*time.Minute, records.Visit{Group: "north", VolumeL: 80, BrixPct: 2.5}); got.Outcome != Same ||
		got.Visit.BrixPct != 2.1 {
		t.Errorf("%+v", got)
	}
	if got := take(0, records.Visit{Group: "lane", VolumeL: 80, BrixPct: math.NaN(), CollectedAt: now}); got.Outcome != Written {
		t.Errorf("%+v", got)
	}
	if got := take(0, records.Visit{Group: "lane", VolumeL: 80, BrixPct: 2.1, CollectedAt: now.Add(5 * time.Minute)}); got.Outcome != Same {
		t.Errorf("%+v", got)
	}
}

// Records that say no number of taps, from before they were filled in, are the same as
// those that come again without it.
func TestRecordsWithoutTapsStayTheSame(t *testing.T) {
	s := opened(t)
	site := bush("hill")
	old := records.Visit{Site: "hill", Group: "north", CollectedAt: now.AddDate(0, 0, -3).In(site.Zone), VolumeL: 151.41647136,
		BrixPct: math.NaN(), Note: "plein"}
	if _, err := s.Archive.(*archive.Archive).PutVisits(t.Context(), []records.Visit{old}, "Odell", now); err != nil {
		t.Fatal(err)
	}
	old.Site = ""
	r, err := s.Take(t.Context(), Entry{Site: site, Visits: []records.Visit{old}, Way: Import, From: keeper, Words: words(t, "fr")}, now)
	if err != nil || r.Records[0].Outcome != Same {
		t.Errorf("%v %+v", err, r.Records)
	}
}

// counted counts what it is told.
type counted map[string]int

func (c counted) Recorded(way, outcome string) { c[way+" "+outcome]++ }

// What becomes of records is counted, once for each; what a phone sends again is not.
func TestRecordsAreCounted(t *testing.T) {
	s := opened(t)
	count := counted{}
	s.Counter = count
	site := bush("hill")
	for range 2 {
		if r, err := s.Take(t.Context(),
			Entry{Site: site, Visits: []records.Visit{{Group: "north", VolumeL: 80, BrixPct: math.NaN()}}, Way: Form, From: keeper,
				Key: "hill/form-0001"}, now); err != nil || r.Number != 1 || !r.Wrote || r.Records[0].Outcome != Written {
			t.Errorf("%v %+v", err, r)
		}
	}
	for _, litres := range []float64{80, 40, 4000} {
		if _, err := s.Take(t.Context(),
			Entry{Site: site, Visits: []records.Visit{{Group: "north", VolumeL: litres, BrixPct: math.NaN()}}, Way: Text, From: keeper},
			now.Add(time.Minute)); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.Take(t.Context(), Entry{Site: site, Visits: []records.Visit{{Group: "north"}}, Way: API,
		From: auth.Identity{Role: auth.Viewer}}, now); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(counted{"form written": 1, "text same": 1, "text load": 1, "text refused": 1, "api refused": 1}, count); d != "" {
		t.Error(d)
	}
}

// Who writes a tenth of their figure again within minutes puts a slip of the finger right: it is no
// second load. Somebody else's figure, one that is no tenth, or an hour later is a load.
func TestASlipIsPutRight(t *testing.T) {
	s, w := opened(t), words(t, "en")
	other := keeper
	other.Person, other.Name = "lou", "Lou"
	for n, c := range []struct {
		from   auth.Identity
		litres float64
		after  time.Duration
		slip   bool
	}{{keeper, 21, 3 * time.Minute, true}, {other, 21, 3 * time.Minute, false}, {keeper, 25, 3 * time.Minute, false},
		{keeper, 21, time.Hour, false}} {
		site := bush(fmt.Sprint("slip", n))
		take := func(from auth.Identity, litres float64, at time.Time) string {
			r, err := s.Take(t.Context(), Entry{Site: site, Visits: []records.Visit{{Group: "north", VolumeL: litres, BrixPct: math.NaN()}},
				Way: Text, From: from}, at)
			if err != nil {
				t.Fatal(err)
			}
			return r.Say(w)
		}
		first := take(keeper, 210, now)
		said := take(c.from, c.litres, now.Add(c.after))
		if slip := strings.Contains(said, "corrected from"); slip != c.slip || strings.Contains(said, "load") == c.slip {
			t.Errorf("%s: %g L by %s after %s: %s", first, c.litres, c.from.Name, c.after, said)
		}
	}
}
