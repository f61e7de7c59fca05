// Package alerts decides what people need to be told: from an outlook, from what was already
// said, and from the clock. It does no I/O.
//
// Start at [Decide]. Each [Decision] has a [Kind] and a key that names it for good: whoever
// sends it drops a key that was sent before. What differs between kinds is in [Profiles], a
// row for each; what is worth a message is in [Thresholds].
package alerts

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"thawline/forecast"
	"thawline/forecast/season"
)

// Decide is what there is to tell at a moment about an outlook. Everything that
// was told before comes back again, with the same key: the ledger drops it. Where
// the memory fails nothing is decided: a run that was announced would be announced
// again.
func Decide(o *forecast.Outlook, m Memory, at Moment, t Thresholds) ([]Decision, error) {
	r := rules{o: o, site: o.Site, spring: springOf(&o.Season, &o.Work), memory: m, at: at, t: t, zone: o.IssuedAt.Location()}
	if o.Season.Closed != nil {
		r.closed()
		r.classes()
		if r.err != nil {
			return nil, r.err
		}
		return r.out, nil
	}
	if at.Evening {
		r.ahead()
		r.evening()
	} else {
		r.change()
		r.afterAll()
		r.roundOff()
	}
	r.official()
	r.overflow()
	r.hardFreeze()
	r.boilBy()
	r.tank()
	r.stale()
	if !at.Evening {
		r.newRound() // where nothing else tells of it
	}
	if at.Evening {
		r.seasonTurns()
		r.goodDays()
		r.danger()
		r.itWorks()
		r.quietWeek() // where nothing else is told of the bush
	}
	r.classes()
	if r.err != nil {
		return nil, r.err
	}
	return r.out, nil
}

type rules struct {
	o      *forecast.Outlook // nil where there is none
	site   string
	spring Spring
	memory Memory
	at     Moment
	t      Thresholds
	zone   *time.Location
	out    []Decision
	err    error // of the memory
}

// lastEvening is the newest evening text.
func (r *rules) lastEvening() (d Decision, at time.Time, told bool) {
	d, at, told, err := r.memory.Last(r.site, Evening, "")
	r.err = errors.Join(r.err, err)
	return d, at, told
}

// announced reports whether an evening said that sap will run, whatever the threshold has
// become since.
func (r *rules) announced(evening *Decision) bool {
	return evening.Facts.Announced || evening.Facts.Chance >= r.t.RunProbability
}

// tell takes a decision in, unless its kind is not for this time of the year.
func (r *rules) tell(d Decision) {
	if r.outOfSeason(d.Kind) {
		return
	}
	d.Site, d.Urgent = r.site, d.Kind.Urgent()
	d.Key = string(d.Kind) + ":" + d.Key
	if r.o != nil {
		d.Why = append(d.Why, fmt.Sprintf("outlook of %s from %s, %.0f hours old", r.o.IssuedAt.Format(time.RFC3339), r.o.Source.Name,
			r.o.Source.AgeHours))
	}
	r.out = append(r.out, d)
}

// tells reports whether something of a kind is among what is told now.
func (r *rules) tells(k Kind) bool {
	return slices.ContainsFunc(r.out, func(d Decision) bool { return d.Kind == k })
}

// day is the outlook of a local date.
func (r *rules) day(date string) (forecast.Day, bool) {
	for _, d := range r.o.Days {
		if d.Date == date {
			return d, true
		}
	}
	return forecast.Day{}, false
}

// endOf is when a local date is over.
func (r *rules) endOf(date string) time.Time {
	t, err := time.ParseInLocation(time.DateOnly, date, r.zone)
	if err != nil {
		return r.at.Now.Add(24 * time.Hour)
	}
	return t.AddDate(0, 0, 1)
}

// evening tells of tomorrow: where a run may come, and after an evening that
// announced one, so that nobody waits for it.
func (r *rules) evening() {
	tomorrow := r.at.Now.In(r.zone).AddDate(0, 0, 1).Format(time.DateOnly)
	today := r.at.Now.In(r.zone).Format(time.DateOnly)
	d, known := r.day(tomorrow)
	if !known {
		r.noForecast(Facts{Date: tomorrow, AgeHours: r.o.Source.AgeHours}, r.ageOfWeather(), "the forecast does not reach tomorrow")
		return
	}
	last, _, told := r.lastEvening()
	saidBefore := told && last.Facts.Date == today && r.announced(&last)
	switch {
	case d.RunProbability >= r.t.RunProbability:
		f := r.eveningFacts(&d)
		f.Announced = true
		r.tell(Decision{Kind: Evening, Key: today, Until: r.endOf(today).Add(8 * time.Hour), Facts: f,
			Why: []string{fmt.Sprintf("chance of a run tomorrow %.2f, at least %.2f", d.RunProbability, r.t.RunProbability)}})
	case saidBefore:
		r.tell(Decision{Kind: Evening, Key: today, Until: r.endOf(today), Facts: r.eveningFacts(&d),
			Why: []string{fmt.Sprintf("a run was announced for today; tomorrow's chance is %.2f", d.RunProbability)}})
	case len(r.o.Work.Due()) > 0:
		r.tell(Decision{Kind: Evening, Key: today, Until: r.endOf(today).Add(8 * time.Hour), Facts: r.eveningFacts(&d),
			Why: []string{"somebody has to go round before the next evening"}})
	}
}

func (r *rules) eveningFacts(d *forecast.Day) Facts {
	f := r.factsOf(d)
	f.Rounds, f.Untapped = namedBy(r.o), !r.o.Season.Tapped
	return f
}

func (r *rules) factsOf(d *forecast.Day) Facts {
	f := Facts{Date: d.Date, Chance: d.RunProbability, VolumeL: d.VolumeL.P50, LowC: &d.TemperatureC.Min, Taps: r.o.Bush.TapsIn()}
	if d.Window != nil {
		f.Window = d.Window.Start
	}
	return f
}

// wakes is the local hour before which nobody needs to know that a run comes after all,
// comes earlier or brings more: an evening is let stand for its night, unless its run is
// off.
const wakes = 5

// countedOn is the chance from which people count on a run that was told: that it is off is
// told by night too; what was only possible waits for the morning.
const countedOn = 0.55

// change tells when what an evening said is no longer so: of one run once, and one such
// change a day.
func (r *rules) change() {
	last, _, told := r.lastEvening()
	if !told || r.toldToday(Change) {
		return
	}
	if _, before := r.told(Change, last.Facts.Date+":"); before {
		return
	}
	d, known := r.day(last.Facts.Date)
	over := r.endOf(last.Facts.Date)
	if !known || !r.announced(&last) || r.at.Now.After(over.Add(-8*time.Hour)) {
		return
	}
	tell := func(what, why string) {
		night := last.Facts.Date != r.today() || r.at.Now.In(r.zone).Hour() < wakes
		if night && (what != calledOff || last.Facts.Chance < countedOn) {
			return
		}
		f := r.factsOf(&d)
		f.What = what
		r.tell(Decision{Kind: Change, Key: last.Facts.Date + ":" + what, Until: over.Add(-6 * time.Hour), Facts: f, Why: []string{why}})
	}
	taps := r.o.Bush.TapsIn()
	little := 0.5 * float64(max(taps, 1)) // litres that are worth a text
	before := last.Facts.VolumeL
	if then := last.Facts.Taps; then > 0 { // taps that were pulled or put in since are no change in the weather
		before *= float64(taps) / float64(then)
	}
	switch now := d.VolumeL.P50; {
	case d.RunProbability <= r.t.CalledOff:
		tell(calledOff, fmt.Sprintf("chance %.2f when told, %.2f now, at most %.2f", last.Facts.Chance, d.RunProbability, r.t.CalledOff))
	case r.seenEarlier(&d, last.Facts.Window):
		tell("seen", fmt.Sprintf("from %s when told, from %s now, by what was seen at %d bushes near by",
			last.Facts.Window.In(r.zone).Format("15:04"), d.Window.Start.Format("15:04"), r.o.Eyes.Reports))
	case now >= r.t.MuchMore*before && now-before >= little:
		tell("more", fmt.Sprintf("%.0f L when told, %.0f L now, %.1f times or more", before, now, r.t.MuchMore))
	case d.Window != nil && !last.Facts.Window.IsZero() && last.Facts.Window.Sub(d.Window.Start) >= r.t.Earlier &&
		d.Window.Start.After(r.at.Now):
		tell("earlier", fmt.Sprintf("from %s when told, from %s now", last.Facts.Window.In(r.zone).Format("15:04"),
			d.Window.Start.Format("15:04")))
	}
}

// seenEarly is how much earlier than it was told a run has to begin for what is seen near by
// to be worth a text: a forecast alone has to move by more.
const seenEarly = 2 * time.Hour

// seenEarlier reports whether what people see near by brings a day's run so much forward, and
// there is still time to gain by knowing it.
func (r *rules) seenEarlier(d *forecast.Day, told time.Time) bool {
	if d.Window == nil || told.IsZero() || r.o.Eyes.Reports == 0 || d.Date != r.today() || !d.Window.End.After(r.at.Now) {
		return false
	}
	begins := d.Window.Start
	if begins.Before(r.at.Now) {
		begins = r.at.Now
	}
	return told.Sub(d.Window.Start) >= seenEarly && told.Sub(begins) >= seenEarly/2
}

// afterAll tells of a run today that no evening announced, or that was called off since,
// while it can still be used: once, so that a chance that goes up and down is followed no
// further.
func (r *rules) afterAll() {
	today := r.today()
	d, known := r.day(today)
	last, _, told := r.lastEvening()
	expected, why := told && last.Facts.Date == today && r.announced(&last), "no evening announced it"
	if _, off := r.told(Change, today+":"+calledOff); off {
		_, back := r.told(Change, today+":"+afterAll)
		expected, why = back, "it was called off"
	} else if r.toldToday(Change) {
		expected = true
	}
	const lastHour = 14
	hour := r.at.Now.In(r.zone).Hour()
	if !known || expected || d.RunProbability < 2*r.t.RunProbability || d.Window == nil || hour < wakes || hour > lastHour ||
		!d.Window.End.After(r.at.Now) || !r.o.Season.Tapped {
		return
	}
	f := r.factsOf(&d)
	f.What = afterAll
	r.tell(Decision{Kind: Change, Key: today + ":" + afterAll, Until: d.Window.End, Facts: f,
		Why: []string{fmt.Sprintf("chance of a run today %.2f, at least %.2f, and %s", d.RunProbability, 2*r.t.RunProbability, why)}})
}

// lowToCome is the low of a day, of today only in the hours that are left: a frost
// that pails have come through is no reason to go. It reports false where none are.
func (r *rules) lowToCome(d *forecast.Day) (low float64, comes bool) {
	if d.Date != r.at.Now.In(r.zone).Format(time.DateOnly) {
		return d.TemperatureC.Min, true
	}
	low = math.Inf(1)
	h := &r.o.Hours
	for i := h.Now; i < len(h.TemperatureC.P50); i++ {
		at := h.Start.Add(time.Duration(i) * time.Hour)
		if at.Add(time.Hour).After(r.at.Now) && at.In(r.zone).Format(time.DateOnly) == d.Date {
			low = min(low, h.TemperatureC.P50[i])
		}
	}
	return low, !math.IsInf(low, 1)
}

// seasonTurns tells once a year that it is worth tapping, that the end is near,
// and that it is here.
func (r *rules) seasonTurns() {
	here := r.at.Now.In(r.zone)
	year := here.Format("2006")
	if r.o.Season.WorthTapping {
		r.tell(Decision{Kind: SeasonOpens, Key: year, Until: r.at.Now.AddDate(0, 0, 4), Facts: Facts{Score: r.o.Season.RunDays},
			Why: []string{fmt.Sprintf("%d days of the next ten with an even chance of a run, and no visit on record", r.o.Season.RunDays)}})
	}
	if _, told := r.told(EndHere, year); told {
		return
	}
	r.tasteIt(year)
	f := Facts{From: r.o.Season.End.P10, To: r.o.Season.End.P90}
	switch left, known := r.leftOfSeason(); {
	case r.justOver():
		r.tell(Decision{Kind: EndHere, Key: year, Until: r.at.Now.AddDate(0, 0, 5), Facts: f,
			Why: []string{"good sap likely ended by " + r.o.Season.End.P50 + ", and no run is likely soon"}})
	case known && r.o.Season.Stage != season.Over && left <= r.t.EndWithin:
		r.tell(Decision{Kind: EndNear, Key: year, Until: r.at.Now.AddDate(0, 0, 5), Facts: f,
			Why: []string{fmt.Sprintf("the likely end, %s, is within %.0f days", r.o.Season.End.P50, r.t.EndWithin.Hours()/24)}})
	}
}

// teachersNeed is how many days ahead a school can still make up its mind.
const teachersNeed = 2

// goodDays tells of hours for sugar, at most once a week, and of a day for learners, once
// a season.
func (r *rules) goodDays() {
	if r.o.Season.Stage == season.Over || !r.o.Season.Tapped {
		return
	}
	tomorrow := r.at.Now.In(r.zone).AddDate(0, 0, 1).Format(time.DateOnly)
	r.drySugar(tomorrow)
	ahead := r.at.Now.In(r.zone).AddDate(0, 0, teachersNeed).Format(time.DateOnly)
	for _, best := range r.o.Teaching { // the best first
		if best.Score >= r.t.TeachingScore && best.Date >= ahead {
			r.tell(Decision{Kind: Learners, Key: ahead[:4], Until: r.endOf(best.Date).Add(-12 * time.Hour),
				Facts: Facts{Date: best.Date, Score: best.Score},
				Why:   []string{fmt.Sprintf("score %d of 100, at least %d", best.Score, r.t.TeachingScore)}})
			return
		}
	}
}

func (r *rules) danger() {
	tomorrow := r.at.Now.In(r.zone).AddDate(0, 0, 1).Format(time.DateOnly)
	if r.o.Season.Stage == season.Over || !r.o.Season.Tapped {
		return
	}
	for _, c := range r.o.Cautions {
		if c == forecast.CautionWind || c == forecast.CautionCold {
			r.tell(Decision{Kind: Danger, Key: string(c) + ":" + tomorrow, Until: r.endOf(tomorrow),
				Facts: Facts{Date: tomorrow, What: string(c)},
				Why:   []string{"the outlook warns of " + string(c) + " tomorrow"}})
		}
	}
}
