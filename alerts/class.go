package alerts

import (
	"fmt"
	"math"
	"time"

	"thawline/forecast"
)

// The kinds that tell of visits of classes that are booked.
const (
	ClassVisit Kind = "class_visit" // what is likely, what to hold back, what to do
	ClassOff   Kind = "class_off"   // danger calls a visit off, or is gone
)

// OfClass reports whether a kind is about a visit that is booked.
func (k Kind) OfClass() bool { return k == ClassVisit || k == ClassOff }

// ClassFacts are what the words about a visit are made from, beside its date and hours.
type ClassFacts struct {
	ID       string                  `json:"id"`
	SapL     float64                 `json:"sap_l,omitempty"`
	HoldFrom time.Time               `json:"hold_from,omitzero"` // zero once it is past
	SyrupL   float64                 `json:"syrup_l,omitempty"`
	Drips    *float64                `json:"drips,omitempty"`
	Order    []forecast.RunningOrder `json:"order,omitempty"` // on the last evening
	Changed  bool                    `json:"changed,omitempty"`
	Danger   forecast.DangerKind     `json:"danger,omitempty"` // of one that is off
}

// afterAll is what is said of a visit whose danger is gone, boilsSyrup of one with too little
// good sap.
const (
	afterAll   = "after_all"
	boilsSyrup = "syrup"
)

// classNotice is how long before a visit a change of it is told at the latest: after that
// people are on their way.
const classNotice = time.Hour

// classes tells of visits that are booked: in the evening at each step before one, that
// danger calls it off or is gone at once, and on the last day what has changed.
func (r *rules) classes() {
	for i := range r.o.Classes {
		p := &r.o.Classes[i]
		if !p.From.After(r.at.Now) || r.classOff(p) || p.Programme == forecast.CalledOff {
			continue
		}
		r.classStep(p)
	}
}

// classOff tells that danger calls a visit off, and that it is gone again; it reports
// whether it did.
func (r *rules) classOff(p *forecast.ClassPlan) bool {
	off := p.Programme == forecast.CalledOff
	last, at, told := r.toldOf(ClassOff, p.ID+":")
	if off == (told && last.Facts.What != afterAll) || p.From.Sub(r.at.Now) < classNotice && !off {
		return false
	}
	f := r.classFacts(p)
	var key, why string
	if off {
		key = p.ID + ":off"
		f.What, f.Class.Danger, f.Warning = "", p.Danger.What, p.Danger.Warning
		why = fmt.Sprintf("%s from %s to %s", p.Danger.What, p.Danger.From.Format("Mon 15:04"), p.Danger.To.Format("Mon 15:04"))
	} else {
		f.What, key, why = afterAll, p.ID+":on", "no danger in its hours any more"
	}
	if told { // each turn of it once
		key += ":" + visited(at)
	}
	r.tell(Decision{Kind: ClassOff, Key: key, Until: p.From, Facts: f, Why: []string{why}})
	return true
}

// classStep tells of a visit at its steps, the nearest that is not past, and after the last of
// them where something else is to be done than was told: before that, the next step says it.
func (r *rules) classStep(p *forecast.ClassPlan) {
	days := r.daysTo(p.From)
	step := 0
	for _, s := range forecast.ClassSteps { // the farthest first
		if days <= s {
			step = s
		}
	}
	if step == 0 {
		return
	}
	f, key := r.classFacts(p), fmt.Sprintf("%s:%d", p.ID, step)
	if _, _, told := r.toldOf(ClassVisit, key); !told {
		if r.at.Evening {
			if step == forecast.ClassSteps[len(forecast.ClassSteps)-1] {
				f.Class.Order = p.Order()
			}
			r.tell(Decision{Kind: ClassVisit, Key: key, Until: earlier(p.From, r.at.Now.Add(36*time.Hour)), Facts: f,
				Why: []string{fmt.Sprintf("a class comes in %d days", days)}})
		}
		return
	}
	last, at, _ := r.toldOf(ClassVisit, p.ID+":")
	inTime := days <= 1 && r.at.Now.In(r.zone).Hour() >= wakes && p.From.Sub(r.at.Now) >= classNotice
	if !inTime || nearCold(p) || !materially(last.Facts.What, f.What) {
		return
	}
	f.Class.Changed = true
	r.tell(Decision{Kind: ClassVisit, Key: p.ID + ":changed:" + visited(at), Until: p.From, Facts: f,
		Why: []string{fmt.Sprintf("%s when told, %s now", last.Facts.What, f.What)}})
}

// materially reports whether a class does something else: what is boiled, or whether it goes
// out. That sap drips, too, is seen when they are there.
func materially(before, now string) bool {
	same := func(what string) string {
		if what == string(forecast.Dripping) {
			return string(forecast.FromStock)
		}
		return what
	}
	return same(before) != same(now)
}

// coldMarginK is how near the bound of the cold nobody changes their plans for it.
const coldMarginK = 3

// nearCold reports whether it is neither clearly too cold for children nor clearly not, where
// that is what decides.
func nearCold(p *forecast.ClassPlan) bool {
	return p.Boils != "" && p.FeelsC != nil && math.Abs(*p.FeelsC-forecast.ColdForChildrenC) < coldMarginK
}

// toldOf is the newest of a kind that was told of a visit, by how its key begins.
func (r *rules) toldOf(k Kind, begins string) (Decision, time.Time, bool) {
	d, at, told, err := r.memory.Last(r.site, k, begins)
	if err != nil && r.err == nil {
		r.err = err
	}
	return d, at, told
}

func (r *rules) classFacts(p *forecast.ClassPlan) Facts {
	f := Facts{Date: p.From.In(r.zone).Format(time.DateOnly), At: p.From, Ends: p.To, What: string(p.Programme),
		Class: &ClassFacts{ID: p.ID, SapL: p.SapL, SyrupL: p.SyrupL, Drips: p.Drips}}
	if p.Boils == boilsSyrup {
		f.What = boilsSyrup
	}
	if p.HoldFrom != nil && p.HoldFrom.After(r.at.Now) {
		f.Class.HoldFrom = *p.HoldFrom
	}
	return f
}

// daysTo is how many local days it is to a moment.
func (r *rules) daysTo(at time.Time) int {
	days := 0
	for date := at.In(r.zone).Format(time.DateOnly); r.dateIn(days) < date; days++ {
		continue
	}
	return days
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}
