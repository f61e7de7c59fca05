package alerts

import (
	"strings"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/season"
)

// classOn is a visit that is booked on a day of March, from half past nine to noon.
func classOn(day int, programme forecast.Programme) forecast.ClassPlan {
	from, hold := at(day, 9).Add(30*time.Minute), at(day-8, 18)
	p := forecast.ClassPlan{ID: "one", From: from, To: *at(day, 12), Programme: programme, Boils: "sap", SapL: 40, SyrupL: 2,
		HoldFrom: hold}
	if programme == forecast.CalledOff {
		p.Boils, p.Danger = "", &forecast.Danger{From: from.Add(-time.Hour), To: from.Add(time.Hour), What: forecast.DangerWind}
	}
	return p
}

func withClass(p forecast.ClassPlan) func(*forecast.Outlook) {
	return func(o *forecast.Outlook) { o.Classes = []forecast.ClassPlan{p} }
}

// classTexts are the messages about visits at a moment: what each says, by its key.
func classTexts(t *testing.T, m Memory, at Moment, plans ...forecast.ClassPlan) (said []string, list []Decision) {
	t.Helper()
	o := quiet()
	o.Classes = plans
	for _, d := range decide(t, o, m, at) {
		if d.Kind.OfClass() {
			said, list = append(said, string(d.Kind)+"/"+d.Facts.What+" "+d.Key), append(list, d)
		}
	}
	return said, list
}

// A visit is told of at each of its steps in the evening, once; one that was booked between
// two steps in the next evening; nothing of it at other hours, farther ahead, or after it.
func TestAVisitIsToldAtItsSteps(t *testing.T) {
	evening, noon := Moment{Now: dusk, Evening: true}, Moment{Now: dusk.Add(-6 * time.Hour)}
	week := past{}.and(ClassVisit, "one:7", Facts{What: "stock"}, dusk.AddDate(0, 0, -4))
	for _, c := range []struct {
		what   string
		day    int
		memory past
		at     Moment
		want   string
	}{
		{"eight days ahead", 28, nil, evening, ""},
		{"a week ahead", 27, nil, evening, "class_visit/stock class_visit:one:7"},
		{"a week ahead, at noon", 27, nil, noon, ""},
		{"six days ahead, as a week before", 26, past{}.and(ClassVisit, "one:7", Facts{What: "stock"}, dusk.AddDate(0, 0, -1)), evening,
			""},
		{"booked five days ahead", 25, nil, evening, "class_visit/stock class_visit:one:7"},
		{"three days ahead", 23, week, evening, "class_visit/stock class_visit:one:3"},
		{"booked two days ahead", 22, nil, evening, "class_visit/stock class_visit:one:3"},
		{"the last evening", 21, week, evening, "class_visit/stock class_visit:one:1"},
		{"the last evening, again", 21, week.and(ClassVisit, "one:1", Facts{What: "stock"}, dusk.Add(-time.Hour)), evening, ""},
		{"on its day, over", 20, nil, evening, ""},
		{"on its day, told", 20, week.and(ClassVisit, "one:1", Facts{What: "stock"}, dusk.AddDate(0, 0, -1)), Moment{Now: *at(20, 7)}, ""},
		{"another was told", 21, past{}.and(ClassVisit, "two:1", Facts{What: "stock"}, dusk), evening,
			"class_visit/stock class_visit:one:1"},
	} {
		said, list := classTexts(t, c.memory, c.at, classOn(c.day, forecast.FromStock))
		if got := strings.Join(said, ", "); got != c.want {
			t.Errorf("%s: %q, want %q", c.what, got, c.want)
		}
		for _, d := range list {
			if last := c.day == 21; last != (len(d.Facts.Class.Order) > 0) || d.Until.After(*at(c.day, 10)) || d.Urgent {
				t.Errorf("%s: %+v", c.what, d)
			}
		}
	}
	none, _ := classTexts(t, week, evening)
	if len(none) > 0 {
		t.Errorf("of a visit that is taken back: %v", none)
	}
}

// On the last day another programme than the one that was told is told at once, while there is
// time; that sap drips, too, is not, nor what the next step says anyway, nor a cold that is
// neither clearly too much nor clearly not.
func TestWhatHasChangedOfAVisit(t *testing.T) {
	told := func(step, what string, ago time.Duration) past {
		return past{}.and(ClassVisit, "one:"+step, Facts{What: what}, dusk.Add(-ago))
	}
	const day = 24 * time.Hour
	for _, c := range []struct {
		what   string
		day    int
		memory past
		at     Moment
		now    forecast.Programme
		feelsC float64
		want   string
	}{
		{"drips now", 20, told("1", "stock", day), Moment{Now: *at(20, 6)}, forecast.Dripping, 0, ""},
		{"days ahead", 25, told("7", "stock", 2*day), Moment{Now: dusk, Evening: true}, forecast.Indoors, -20, ""},
		{"that morning", 20, told("1", "stock", day), Moment{Now: *at(20, 6)}, forecast.Indoors, -20, "indoors"},
		{"milder than was thought", 20, told("1", "indoors", day), Moment{Now: *at(20, 6)}, forecast.FromStock, -5, "stock"},
		{"a little too cold", 20, told("1", "stock", day), Moment{Now: *at(20, 6)}, forecast.Indoors, -13, ""},
		{"syrup was to be boiled", 20, told("1", "syrup", day), Moment{Now: *at(20, 6)}, forecast.FromStock, 0, "stock"},
		{"later in the evening", 21, told("1", "stock", -time.Hour), Moment{Now: dusk.Add(2 * time.Hour)}, forecast.Indoors, -20,
			"indoors"},
		{"that night", 20, told("1", "stock", day), Moment{Now: *at(20, 4)}, forecast.Indoors, -20, ""},
		{"on their way", 20, told("1", "stock", day), Moment{Now: *at(20, 9)}, forecast.Indoors, -20, ""},
	} {
		p := classOn(c.day, c.now)
		p.FeelsC = &c.feelsC
		said, list := classTexts(t, c.memory, c.at, p)
		got := ""
		for _, d := range list {
			got = d.Facts.What
			if !d.Facts.Class.Changed {
				t.Errorf("%s: %v does not say that it has changed", c.what, said)
			}
		}
		if got != c.want || len(list) > 1 {
			t.Errorf("%s: %v, want %q", c.what, said, c.want)
		}
	}
}

// Danger calls a visit off once, at any hour; that it is gone is told once; and when it comes
// back it is told anew. Nothing else is told of a visit that is off.
func TestAVisitIsCalledOff(t *testing.T) {
	noon := Moment{Now: dusk.Add(-6 * time.Hour)}
	off, on := classOn(21, forecast.CalledOff), classOn(21, forecast.FromStock)
	var memory past
	for _, c := range []struct {
		what string
		plan forecast.ClassPlan
		want string
	}{
		{"no danger", on, ""}, {"danger", off, "class_off/"}, {"danger still", off, ""}, {"it is gone", on, "class_off/after_all"},
		{"gone still", on, ""}, {"it is back", off, "class_off/"}, {"back still", off, ""},
	} {
		said, list := classTexts(t, memory, noon, c.plan)
		if got, _, _ := strings.Cut(strings.Join(said, ", "), " "); got != c.want {
			t.Errorf("%s: %q, want %q", c.what, got, c.want)
		}
		for _, d := range list {
			for _, before := range memory {
				if before.Key == d.Key {
					t.Errorf("%s: the key %q is not new", c.what, d.Key)
				}
			}
			memory = memory.and(d.Kind, strings.TrimPrefix(d.Key, string(d.Kind)+":"), d.Facts, noon.Now)
		}
		noon.Now = noon.Now.Add(time.Minute)
	}
	if said, _ := classTexts(t, memory, Moment{Now: dusk, Evening: true}, off); len(said) > 0 {
		t.Errorf("of a visit that is off: %v", said)
	}
	if said, _ := classTexts(t, memory, Moment{Now: *at(21, 10)}, on); len(said) > 0 {
		t.Errorf("after it began: %v", said)
	}
	first, _ := classTexts(t, nil, Moment{Now: dusk, Evening: true}, off)
	if len(first) != 1 || first[0] != "class_off/ class_off:one:off" {
		t.Errorf("%v", first)
	}
}

// Once the taps are pulled a class may still come; what was decided of a visit that was taken
// back goes no further.
func TestVisitsOutliveTheTaps(t *testing.T) {
	o := quiet()
	withClass(classOn(21, forecast.Indoors))(o)
	o.Season.Stage, o.Season.Closed = season.Closed, &forecast.Closed{On: "2026-03-19"}
	var visit Decision
	for _, d := range decide(t, o, nil, Moment{Now: dusk, Evening: true}) {
		if d.Kind == ClassVisit {
			visit = d
		}
	}
	if visit.Facts.What != "indoors" {
		t.Fatalf("%+v", visit)
	}
	if visit.Overtaken(o) || visit.Overtaken(nil) {
		t.Error("a visit that is booked is overtaken")
	}
	o.Classes = nil
	if !visit.Overtaken(o) {
		t.Error("a visit that was taken back is told of")
	}
}
