package records

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func kindsOf(doubts []Doubt) (kinds []Kind, refused int) {
	for i := range doubts {
		kinds = append(kinds, doubts[i].Kind)
		if doubts[i].Refusal {
			refused++
		}
	}
	return kinds, refused
}

// What can't be is refused, what is odd is told; taps are those of the group where the
// record does not say.
func TestValidate(t *testing.T) {
	now := time.Date(2026, 3, 20, 23, 0, 0, 0, newYork(t))
	day := func(days int) time.Time { return usualTime(now.AddDate(0, 0, days), now.Location()) }
	for _, c := range []struct {
		name    string
		visit   Visit
		kinds   []Kind
		refused int
	}{
		{"too much of everything", Visit{CollectedAt: now.AddDate(1, 0, 0), VolumeL: 5000, BrixPct: 11},
			[]Kind{Future, TooMuch, TooSweet}, 3},
		{"the most that is taken", Visit{CollectedAt: now.Add(time.Hour), VolumeL: 900, BrixPct: 10, Note: "full"},
			[]Kind{ALittleMore, Full}, 0},
		{"nothing odd", Visit{CollectedAt: now, VolumeL: 630, BrixPct: nan}, nil, 0},
		{"later than clocks err", Visit{CollectedAt: now.Add(61 * time.Minute), VolumeL: 1}, []Kind{Future}, 1},
		{"today, of which the hour is not known", Visit{CollectedAt: day(0), DateOnly: true, VolumeL: 1}, nil, 0},
		{"year 1", Visit{CollectedAt: time.Date(1, 3, 9, 12, 0, 0, 0, time.UTC), VolumeL: 1}, []Kind{LongAgo}, 1},
		{"more taps than there are", Visit{CollectedAt: now, VolumeL: 1, Taps: 999_999}, []Kind{TooManyTaps}, 1},
		{"fewer taps than none", Visit{CollectedAt: now, VolumeL: 1, Taps: -8}, []Kind{TapsBelowZero}, 1},
		{"tomorrow", Visit{CollectedAt: day(1), DateOnly: true, VolumeL: 1}, []Kind{Future}, 1},
		{"below zero", Visit{CollectedAt: now, VolumeL: -1, BrixPct: -2}, []Kind{BelowZero, SugarBelowZero}, 2},
		{"more than a number", Visit{CollectedAt: now, VolumeL: math.Inf(1)}, []Kind{TooMuch}, 1},
		{"both", Visit{CollectedAt: now, VolumeL: 4, Note: "full, not checked"}, []Kind{WhichIsIt}, 1},
		{"some of them not checked", Visit{CollectedAt: now, VolumeL: 4, Note: "three not checked"}, []Kind{NotChecked}, 0},
		{"a long story", Visit{CollectedAt: now, VolumeL: 4, Note: strings.Repeat("é", 501)}, []Kind{LongNote}, 1},
		{"not so long", Visit{CollectedAt: now, VolumeL: 4, Note: strings.Repeat("é", 500)}, nil, 0},
		{"nothing", Visit{CollectedAt: now, VolumeL: nan}, []Kind{NoVolume}, 0},
	} {
		doubts := Validate([]Visit{c.visit}, now, func(*Visit) Capacity { return Capacity{60, 600} })
		if kinds, refused := kindsOf(doubts); !cmp.Equal(kinds, c.kinds) || refused != c.refused {
			t.Errorf("%s: %v, %d refused, want %v, %d", c.name, kinds, refused, c.kinds, c.refused)
		}
		for i := range doubts {
			if c.visit.Taps == 0 && doubts[i].Taps != 60 || doubts[i].HoldsL != 600 {
				t.Errorf("%s: told by %+v", c.name, doubts[i])
			}
		}
	}
	if kinds, _ := kindsOf(Validate([]Visit{{CollectedAt: now, VolumeL: 3601}}, now,
		func(*Visit) Capacity { return Capacity{Taps: 60} })); !cmp.Equal(kinds, []Kind{TooMuchATap}) {
		t.Errorf("%v", kinds)
	}
}

// Who insists keeps what a season may give in one sum, and no more than that: 100 L a tap is a
// good season under vacuum (common practice).
func TestWhatNobodyCanKeep(t *testing.T) {
	now := time.Date(2026, 3, 20, 23, 0, 0, 0, newYork(t))
	for _, c := range []struct {
		capacity Capacity
		litres   float64
		blocking bool
	}{
		{Capacity{60, 600}, 1000, false}, {Capacity{60, 600}, 6000, false}, {Capacity{60, 600}, 60_001, true}, {Capacity{60, 0}, 60_000, false},
		{Capacity{60, 0}, 1e9, true}, {Capacity{0, 600}, 1e6, false}, {Capacity{0, 600}, 1e9, true}, {Capacity{}, math.Inf(1), true},
	} {
		doubts := Validate([]Visit{{CollectedAt: now, VolumeL: c.litres, BrixPct: nan}}, now, func(*Visit) Capacity { return c.capacity })
		if len(doubts) != 1 || !doubts[0].Refusal || doubts[0].Blocking() != c.blocking {
			t.Errorf("%g L of %+v: %+v", c.litres, c.capacity, doubts)
		}
	}
}

// The same litres within ten minutes are the same record, other ones within two hours
// another load; of a day without an hour only the same litres are known again.
func TestAgainAndLoads(t *testing.T) {
	at := time.Date(2026, 3, 20, 16, 0, 0, 0, newYork(t))
	first := Visit{CollectedAt: at, VolumeL: 80, BrixPct: nan}
	for _, c := range []struct {
		minutes     float64
		litres      float64
		day         bool
		again, load bool
	}{
		{0, 80, false, true, true}, {10, 80.04, false, true, true}, {-10, 80, false, true, true}, {10.1, 80, false, false, true},
		{120, 40, false, false, true}, {120.1, 40, false, false, false},
		{-120, 40, false, false, true}, {30, 0, false, false, false}, {5, 79.9, false, false, true}, {0, 80, true, true, false},
		{0, 40, true, false, false}, {24 * 60, 80, true, false, false},
		{5, nan, false, false, false},
	} {
		v := Visit{CollectedAt: at.Add(time.Duration(c.minutes * float64(time.Minute))), VolumeL: c.litres, DateOnly: c.day}
		if again, load := v.IsAgain(&first), v.IsLoadWith(&first); again != c.again || load != c.load {
			t.Errorf("%+v: again %t, a load %t", c, again, load)
		}
		if first.IsAgain(&v) != c.again || first.IsLoadWith(&v) != c.load {
			t.Errorf("%+v: not the other way round", c)
		}
	}
	unseen := Visit{CollectedAt: at, VolumeL: nan, Note: NoteNotChecked}
	if other := (Visit{CollectedAt: at.Add(time.Minute), VolumeL: nan, Note: NoteIce}); !unseen.IsAgain(&unseen) || unseen.IsAgain(&other) {
		t.Error("remarks are not told apart")
	}
}

// Loads teach as one visit: what was carried away in all, at the last moment.
func TestJoinLoads(t *testing.T) {
	at := time.Date(2026, 3, 20, 10, 0, 0, 0, newYork(t))
	visit := func(minutes, taps int, litres, brix float64, note string) Visit {
		return Visit{CollectedAt: at.Add(time.Duration(minutes) * time.Minute), Taps: taps, VolumeL: litres, BrixPct: brix, Note: note}
	}
	visits := []Visit{visit(0, 60, 80, 2, "ice"), visit(50, 60, 40, 3.5, ""), visit(160, 60, 20, nan, "full"),
		visit(300, 60, 5, nan, ""), visit(310, 60, 0, nan, ""),
		visit(600, 30, 9, nan, ""), visit(630, 30, 9, 2, ""), visit(900, 0, nan, nan, "not checked"), visit(905, 60, 7, nan, "")}
	got := JoinLoads(visits, 60)
	want := []Visit{visit(160, 60, 140, 2.5, "ice, full"), visit(300, 60, 5, nan, ""), visit(310, 60, 0, nan, ""),
		visit(630, 60, 18, 2, ""), visit(900, 0, nan, nan, "not checked"), visit(905, 60, 7, nan, "")}
	if d := cmp.Diff(want, got, sameVisits); d != "" {
		t.Error(d)
	}
	if visits[0].VolumeL != 80 {
		t.Error("what was given is changed")
	}
	for minutes, want := range map[int][2]float64{0: {3, 140}, 50: {3, 140}, 160: {3, 140}, 300: {1, 5}, 630: {2, 18}, 1: {0, 0}} {
		if n, litres := Loads(visits, at.Add(time.Duration(minutes)*time.Minute)); float64(n) != want[0] || litres != want[1] {
			t.Errorf("at %d: %d loads, %g L, want %v", minutes, n, litres, want)
		}
	}
}
