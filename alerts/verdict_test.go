package alerts

import (
	"slices"
	"testing"
	"time"

	"thawline/forecast/records"
)

var (
	bushZone = time.FixedZone("", -5*3600)
	dayAfter = time.Date(2026, 3, 21, 18, 30, 0, 0, bushZone) // a Saturday
	friday   = time.Date(2026, 3, 20, 15, 0, 0, 0, bushZone)
)

func overflowTold(due time.Time) Told {
	return Told{Decision: Decision{Kind: Overflow, Site: "hill", Key: "overflow:ridge:2026-03-18", Until: due.Add(3 * time.Hour),
		Facts: Facts{Group: "Ridge pails", GroupID: "ridge", Chance: 0.62, Due: due, At: due.Add(-4 * time.Hour)}},
		MadeAt: due.Add(-20 * time.Hour), People: []string{"robin"}}
}

func boilTold(at time.Time) Told {
	return Told{Decision: Decision{Kind: BoilBy, Site: "hill", Key: "boil_by:lane:2026-03-18", Until: at.Add(6 * time.Hour),
		Facts: Facts{Group: "Lane tubing", GroupID: "lane", At: at}}, MadeAt: at.Add(-12 * time.Hour), People: []string{"robin"}}
}

func eveningTold(date string, announced bool) Told {
	return Told{Decision: Decision{Kind: Evening, Site: "hill", Key: "evening:2026-03-19",
		Facts: Facts{Date: date, Chance: 0.55, Announced: announced}}, MadeAt: friday.Add(-20 * time.Hour), People: []string{"robin"}}
}

func asked(v Verdict, at time.Time, answer Answer) Verdict {
	v.AskedAt, v.AskedOf, v.Answer = at, "robin", answer
	return v
}

func warnings(list []Verdict) (out []string) {
	for i := range list {
		out = append(out, list[i].Warning)
	}
	return out
}

// Who has not said that taps are in is not asked whether sap ran: nobody can have seen it.
func TestNobodyIsAskedOfTapsThatAreNotIn(t *testing.T) {
	evening := eveningTold("2026-03-20", true)
	evening.Facts.Untapped = true
	if got := Questions([]Told{evening}, nil, nil, dayAfter, bushZone); len(got) != 0 {
		t.Errorf("got %v", warnings(got))
	}
	o := quiet()
	o.Days[1].RunProbability = 0.9
	for _, tapped := range []bool{true, false} {
		o.Season.Tapped = tapped
		list, err := Decide(o, past{}, Moment{Now: dusk, Evening: true}, Usual)
		if err != nil {
			t.Fatal(err)
		}
		said := false
		for _, d := range list {
			said = said || d.Kind == Evening && d.Facts.Untapped == !tapped
		}
		if !said {
			t.Errorf("tapped %v: %+v", tapped, list)
		}
	}
}

// The most costly kind is asked about first, about what was due the day before.
func TestWhatIsAskedInTheEvening(t *testing.T) {
	told := []Told{eveningTold("2026-03-20", true), boilTold(friday), overflowTold(friday)}
	got := Questions(told, nil, nil, dayAfter, bushZone)
	if want := []string{"overflow:ridge:2026-03-18", "boil_by:lane:2026-03-18", "evening:2026-03-19"}; !slices.Equal(warnings(got), want) {
		t.Fatalf("got %v, want %v", warnings(got), want)
	}
	if v := got[0]; v.Kind != Overflow || v.Group != "ridge" || v.Chance != 0.62 || !v.Due.Equal(friday) || v.Site != "hill" ||
		v.Answer != Unanswered {
		t.Errorf("got %+v", v)
	}
	d := Ask(&got[0], "Ridge pails", false, dayAfter.Add(40*time.Minute), bushZone)
	if d.Kind != Question || d.Key != "question:2026-03-21" || !d.Until.Equal(dayAfter.Add(330*time.Minute)) || d.Urgent ||
		d.Facts.What != "overflow" || d.Facts.Warning != got[0].Warning || d.Facts.Group != "Ridge pails" {
		t.Errorf("got %+v", d)
	}
	if d := Ask(&got[0], "Lane", true, dayAfter, bushZone); d.Facts.What != "overflow_tank" {
		t.Errorf("of a tank: %+v", d.Facts)
	}
}

// What is not asked.
func TestWhatIsNotAsked(t *testing.T) {
	visit := func(at time.Time, group, note string) records.Visit {
		return records.Visit{Site: "hill", Group: group, CollectedAt: at, VolumeL: 100, Note: note}
	}
	off := Told{Decision: Decision{Kind: Change, Facts: Facts{What: "called_off", Date: "2026-03-20"}}, MadeAt: friday.Add(-6 * time.Hour)}
	more := Told{Decision: Decision{Kind: Change, Facts: Facts{What: "more", Date: "2026-03-20"}}, MadeAt: friday.Add(-6 * time.Hour)}
	old := overflowTold(friday)
	for name, c := range map[string]struct {
		told   []Told
		before []Verdict
		visits []records.Visit
		want   int
	}{
		"nothing was warned of":               {},
		"it is still to come":                 {told: []Told{overflowTold(dayAfter.Add(3 * time.Hour))}},
		"it was due the day before yesterday": {told: []Told{overflowTold(friday.AddDate(0, 0, -1))}},
		"it was asked before, of another day": {told: []Told{overflowTold(friday)},
			before: []Verdict{asked(old.verdict(bushZone), dayAfter.AddDate(0, 0, -1), Unanswered)}},
		"another was asked today": {told: []Told{overflowTold(friday)},
			before: []Verdict{asked(Verdict{Warning: "evening:x", Kind: Evening}, dayAfter.Add(-time.Minute), Unanswered)}},
		"a record told": {told: []Told{overflowTold(friday)},
			before: []Verdict{{Warning: old.Key, Kind: Overflow, Answer: Yes, AnsweredBy: ByRecord}}},
		"somebody went in time": {told: []Told{overflowTold(friday)},
			visits: []records.Visit{visit(friday.Add(-time.Hour), "ridge", "")}},
		"an evening of no run":   {told: []Told{eveningTold("2026-03-20", false)}},
		"the run was called off": {told: []Told{eveningTold("2026-03-20", true), off}},
		"another kind": {told: []Told{{Decision: Decision{Kind: Danger, Key: "danger:x", Until: friday},
			MadeAt: friday}}},
		"but: more than announced": {told: []Told{eveningTold("2026-03-20", true), more}, want: 1},
		"but: somebody went to another group": {told: []Told{overflowTold(friday)},
			visits: []records.Visit{visit(friday.Add(-time.Hour), "lane", "")}, want: 1},
		"but: somebody came by too late": {told: []Told{overflowTold(friday)},
			visits: []records.Visit{visit(friday.Add(time.Hour), "ridge", "")}, want: 1},
		"but: nobody looked": {told: []Told{overflowTold(friday)},
			visits: []records.Visit{visit(friday.Add(-time.Hour), "ridge", "not checked")}, want: 1},
		"but: another was asked yesterday": {told: []Told{overflowTold(friday)},
			before: []Verdict{asked(Verdict{Warning: "evening:x", Kind: Evening}, dayAfter.AddDate(0, 0, -1), Unanswered)}, want: 1},
	} {
		if got := Questions(c.told, c.before, c.visits, dayAfter, bushZone); len(got) != c.want {
			t.Errorf("%s: asks %v", name, warnings(got))
		}
	}
}

// Who does not answer is asked less and less, whatever is asked: after two without an answer in
// three days, then in a week, then in two. An answer ends it, and so does a new season.
func TestWhoDoesNotAnswerIsAskedLessAndLess(t *testing.T) {
	run := func(daysAgo int, a Answer) Verdict {
		at := dayAfter.AddDate(0, 0, -daysAgo)
		return asked(Verdict{Warning: "evening:before:" + at.Format(time.DateOnly), Kind: Evening}, at, a)
	}
	over := func(daysAgo int, a Answer) Verdict {
		v := run(daysAgo, a)
		v.Warning, v.Kind = "overflow"+v.Warning, Overflow
		return v
	}
	const no = Unanswered
	told := []Told{eveningTold("2026-03-20", true)}
	for name, c := range map[string]struct {
		before []Verdict
		want   int
	}{
		"one":                         {[]Verdict{run(1, no)}, 1},
		"two in a row":                {[]Verdict{run(2, no), run(1, no)}, 0},
		"two in a row, in any order":  {[]Verdict{run(1, no), run(2, no), run(3, Yes)}, 0},
		"two days after two":          {[]Verdict{run(3, no), run(2, no)}, 0},
		"three days after two":        {[]Verdict{run(4, no), run(3, no)}, 1},
		"three days after three":      {[]Verdict{run(7, no), run(6, no), run(3, no)}, 0},
		"six days after three":        {[]Verdict{run(10, no), run(9, no), run(6, no)}, 0},
		"a week after three":          {[]Verdict{run(11, no), run(10, no), run(7, no)}, 1},
		"a week after four":           {[]Verdict{run(18, no), run(17, no), run(14, no), run(7, no)}, 0},
		"two weeks after four":        {[]Verdict{run(25, no), run(24, no), run(21, no), run(14, no)}, 1},
		"the last was answered":       {[]Verdict{run(3, no), run(2, no), run(1, No)}, 1},
		"the one before was answered": {[]Verdict{run(2, Yes), run(1, no)}, 1},
		"another kind was answered":   {[]Verdict{run(3, no), run(2, no), over(1, Yes)}, 1},
		"two, of two kinds":           {[]Verdict{over(2, no), run(1, no)}, 0},
		"four, a season ago":          {[]Verdict{run(365, no), run(364, no), run(361, no), run(354, no), run(1, no)}, 1},
		"answered, today":             {[]Verdict{run(0, Yes)}, 0},
	} {
		if got := Questions(told, c.before, nil, dayAfter, bushZone); len(got) != c.want {
			t.Errorf("%s: asks %v", name, warnings(got))
		}
	}
}

// A spring of runs told every evening to somebody who never answers: six questions in forty days,
// where two a week came before; somebody who answers each is asked every evening.
func TestAskingThroughASpring(t *testing.T) {
	for answer, want := range map[Answer][2]int{Unanswered: {5, 7}, Yes: {40, 40}} {
		var before []Verdict
		for day := range 40 {
			now := dayAfter.AddDate(0, 0, day)
			one := eveningTold(now.AddDate(0, 0, -1).Format(time.DateOnly), true)
			one.Key += one.Facts.Date
			for _, v := range Questions([]Told{one}, before, nil, now, bushZone) {
				before = append(before, asked(v, now, answer))
			}
		}
		if n := len(before); n < want[0] || n > want[1] {
			t.Errorf("answered %q: asked %d times", answer, n)
		}
	}
}

// What records say of a day's run answers by itself, so that nobody is asked; not of a day
// that is not over, not of an evening that announced none, and not over what somebody said.
func TestRecordsAnswerWhetherItRan(t *testing.T) {
	told := []Told{eveningTold("2026-03-20", true)}
	date := told[0].Facts.Date
	for ran, want := range map[bool]Answer{true: Yes, false: No} {
		got := FromVisits(told, nil, nil, map[string]bool{date: ran}, dayAfter, bushZone)
		if len(got) != 1 || got[0].Kind != Evening || got[0].Answer != want || got[0].AnsweredBy != ByRecord || !got[0].AskedAt.IsZero() {
			t.Fatalf("ran %v: %+v", ran, got)
		}
		if asked := Questions(told, got, nil, dayAfter, bushZone); len(asked) != 0 {
			t.Errorf("asked all the same: %v", warnings(asked))
		}
		if said := RanAnswers(got, bushZone); len(said) != 0 {
			t.Errorf("a record counts as somebody's answer: %v", said)
		}
	}
	quiet := []Told{eveningTold("2026-03-20", false)}
	for name, got := range map[string][]Verdict{
		"another day":     FromVisits(told, nil, nil, map[string]bool{"2020-01-01": true}, dayAfter, bushZone),
		"its own evening": FromVisits(told, nil, nil, map[string]bool{date: false}, friday, bushZone),
		"announced none":  FromVisits(quiet, nil, nil, map[string]bool{date: true}, dayAfter, bushZone),
		"somebody said": FromVisits(told, []Verdict{{Warning: told[0].Key, Kind: Evening, Answer: No}}, nil, map[string]bool{date: true},
			dayAfter, bushZone),
	} {
		if len(got) != 0 {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// A visit that finds containers full answers by itself; one before the warning, of
// another group or without that remark does not.
func TestAVisitThatFoundThemFullAnswers(t *testing.T) {
	told := []Told{overflowTold(friday), boilTold(friday)}
	visit := records.Visit{Site: "hill", Group: "ridge", CollectedAt: friday.Add(2 * time.Hour), VolumeL: 300, Note: "full"}
	got := FromVisits(told, nil, []records.Visit{visit}, nil, dayAfter, bushZone)
	if len(got) != 1 || got[0].Answer != Yes || got[0].AnsweredBy != ByRecord || !got[0].AskedAt.IsZero() ||
		!got[0].AnsweredAt.Equal(visit.CollectedAt) {
		t.Errorf("got %+v", got)
	}
	for name, change := range map[string]func(*records.Visit){
		"before the warning": func(v *records.Visit) { v.CollectedAt = friday.Add(-30 * time.Hour) },
		"days later":         func(v *records.Visit) { v.CollectedAt = friday.AddDate(0, 0, 2) },
		"another group":      func(v *records.Visit) { v.Group = "lane" },
		"not full":           func(v *records.Visit) { v.Note = "ice" },
	} {
		v := visit
		change(&v)
		if got := FromVisits(told, nil, []records.Visit{v}, nil, dayAfter.AddDate(0, 0, 4), bushZone); len(got) != 0 {
			t.Errorf("%s: %+v", name, got)
		}
	}
	if got := FromVisits(told, []Verdict{{Warning: told[0].Key, Kind: Overflow, Answer: No}}, []records.Visit{visit}, nil,
		dayAfter, bushZone); len(got) != 0 {
		t.Errorf("what somebody said is overwritten: %+v", got)
	}
}
