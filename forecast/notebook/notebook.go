// Package notebook holds the visits of a notebook against what the weather says
// the taps gave: what each should have brought, and what is in the pails now.
package notebook

import (
	"fmt"
	"math"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/rounds"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// Taps is what is known of one group of taps.
type Taps struct {
	Group      int // its index among the groups that are learnt about
	Count      int // where a record does not say
	ContainerL float64
	TankL      float64 // the group's part of the tank that its tubing ends in, 0 where each tap has its own
	// Bored returns the flow of a usual tap, litres an hour on the weather's
	// hours, bored in the given hour. It is called for the first visit of a season.
	Bored func(hour int) []float64
	// Out are the stretches in which the taps are out after they were in, in order: what
	// is visited then teaches nothing, and pails hang anew at their end.
	Out []Stretch
}

// Stretch is a stretch of time; a zero To is open.
type Stretch struct{ From, To time.Time }

// Holds reports whether a moment lies in the stretch and not at its beginning: what was
// gathered as the taps were pulled had run before.
func (s Stretch) Holds(at time.Time) bool {
	return at.After(s.From) && (s.To.IsZero() || at.Before(s.To))
}

// Entry is one visit of the notebook.
type Entry struct {
	Visit volume.Visit
	At    time.Time
	Since int // hour of the weather from which its sap was caught
	To    int
	// Why it says nothing about the yield, "" if it does.
	Why string
	// CarriedL is what was carried in, litres, 0 if nothing was, and BrixPct its sugar, NaN
	// if that was not measured.
	CarriedL, BrixPct float64
	// Iced is true where ice was seen, and IceL what a litre that hung there for the last
	// days would have been ice of by then.
	Iced bool
	IceL float64
}

// OutsideWeather is why a visit says nothing whose sap ran in unknown weather.
const OutsideWeather = "outside the known weather"

// Confirmed is why a visit teaches nothing whose figure was taken from what was expected.
const Confirmed = "confirmed as expected, not measured"

// Now is how things stand after the last entry and the hours up to the
// weather's end.
type Now struct {
	Pail      rounds.Pail // of a usual tap
	Since     time.Time   // of the last time it was emptied, zero if not known
	EmptiedAt int
	Ice       Ice
}

// Ice is what is ice at taps that give more or less than a usual one: little sap freezes
// through, of much a part.
type Ice [len(iceYields)]float64

// iceYields are the yields for which ice is worked out.
var iceYields = [...]float64{0.12, 0.17, 0.25, 0.35, 0.5, 0.7, 1, 1.4, 2, 2.8, 4, 5.6, 8}

// At is what is ice, litres, at a tap that gives so many times what a usual one does.
func (c *Ice) At(yield float64) float64 {
	if yield <= iceYields[0] {
		return c[0] * yield / iceYields[0]
	}
	for i := 1; i < len(c); i++ {
		if yield <= iceYields[i] {
			share := (yield - iceYields[i-1]) / (iceYields[i] - iceYields[i-1])
			return c[i-1] + share*(c[i]-c[i-1])
		}
	}
	return c[len(c)-1]
}

// iceOf works out what is ice of what has come since an hour in which a usual tap was left with
// so much ice, litres.
func iceOf(w *weather.Series, flow []float64, from int, leftL, share float64) (c Ice) {
	for i, yield := range iceYields {
		p := rounds.Pail{IceL: leftL * yield}
		fill(&p, w, flow, yield, from, w.Hours(), share)
		c[i] = p.IceL
	}
	return c
}

// seasonGap is how long after the first visit of a season another one begins.
const seasonGap = 200 * 24 * time.Hour

// lateGap is how long nobody needs to have come before what hangs in the pails
// is anybody's guess.
const lateGap = 21 * 24 * time.Hour

// Read walks through the visits of one group, oldest first, filling and
// emptying the pails hour by hour. w holds the air temperature of every hour;
// missing, which may be nil, says which of them were made up. Visits outside
// the weather teach nothing.
func Read(w *weather.Series, missing []bool, zone *time.Location, visits []records.Visit, t Taps) ([]Entry, Now) {
	k := walk{w: w, missing: missing, zone: zone, t: t, from: -1, since: -1, out: t.Out}
	var entries []Entry
	for i := range visits {
		entries = append(entries, k.visit(&visits[i]))
	}
	if k.from >= 0 || len(k.out) > 0 {
		k.hang(w.Hours())
	}
	if w.End().Sub(k.now.Since) > lateGap || len(k.out) > 0 {
		return entries, Now{EmptiedAt: -1}
	}
	k.now.Ice = iceOf(w, k.flow, k.since, k.leftL, t.meltShare())
	return entries, k.now
}

func (t *Taps) meltShare() float64 { return rounds.MeltShare(t.TankL, t.Count) }

// walk is how far [Read] has come.
type walk struct {
	w       *weather.Series
	missing []bool
	zone    *time.Location
	t       Taps
	flow    []float64 // of a usual tap; nil before the first visit
	now     Now
	season  time.Time // of its first visit
	unseen  time.Time // of the last visit before the known weather
	from    int       // hour up to which the pails are filled, -1 before the first visit
	since   int       // hour from which what hangs was caught, -1 before the first visit
	leftL   float64   // ice that hung there in that hour already, of a usual tap
	out     []Stretch // without taps, those that are not over
}

// hang fills the pails up to an hour, those that hang since the taps were put in again.
func (k *walk) hang(to int) {
	for k.backBy(to) {
		k.from = max(k.w.Index(k.out[0].To), 0)
		k.since, k.leftL, k.now = k.from, 0, Now{Since: k.out[0].To, EmptiedAt: k.from}
		if k.flow == nil {
			k.flow = k.t.Bored(k.from)
		}
		k.out = k.out[1:]
	}
	fill(&k.now.Pail, k.w, k.flow, 1, k.from, to, k.t.meltShare())
	k.from = to
}

// backBy reports whether the taps that are out are in again by an hour.
func (k *walk) backBy(hour int) bool {
	return len(k.out) > 0 && !k.out[0].To.IsZero() && k.w.Index(k.out[0].To) <= hour
}

// begin begins a season with its first visit: bored that day if nothing was collected, else
// the day before. partly means that earlier visits lie before the known weather.
func (k *walk) begin(v *records.Visit, to int) (partly bool) {
	k.season, k.now.Pail = v.CollectedAt, rounds.Pail{}
	if k.from = to; v.Collected() {
		k.from = max(to-24, 0)
	}
	partly = !k.unseen.IsZero() && v.CollectedAt.Sub(k.unseen) < seasonGap
	if partly {
		k.season, k.from = k.unseen, 0
	}
	k.since, k.leftL = k.from, 0
	k.flow = k.t.Bored(k.from)
	return partly
}

// visit fills the pails up to a visit, and empties them if it did.
func (k *walk) visit(v *records.Visit) Entry {
	to := k.w.Index(v.CollectedAt)
	e := Entry{At: v.CollectedAt, To: to, Since: k.since, BrixPct: v.BrixPct}
	if v.Collected() {
		e.CarriedL = v.VolumeL
	}
	if to < 0 || to > k.w.Hours() {
		e.Why = OutsideWeather
		k.unseen = v.CollectedAt
		return e
	}
	if k.from < 0 || v.CollectedAt.Sub(k.season) > seasonGap {
		if partly := k.begin(v, to); partly && v.Collected() {
			e.Since, e.Why = k.since, "only part of the weather before it is known"
			for k.backBy(to) {
				k.out = k.out[1:]
			}
			k.from, k.since = to, to
			k.now.Since, k.now.EmptiedAt = v.CollectedAt, to
			return e
		}
	}
	k.hang(to)
	remarks := v.Remarks()
	if e.Since, e.Iced = k.since, remarks.Ice; e.Iced {
		e.IceL = iceOfALitre(k.w, to)
	}
	taps := v.Taps
	if taps == 0 {
		taps = k.t.Count
	}
	var emptied bool
	if e.Why, emptied = k.why(v, to, taps); e.Why == "" {
		e.Visit = volume.Visit{
			Group: k.t.Group, Months: v.CollectedAt.Sub(k.season).Hours() / 720, Taps: taps,
			Days: effectiveDays(k.w, k.flow, k.zone, k.since, to), ObservedL: v.VolumeL,
			AtLeast:   remarks.Full || remarks.Spilled || k.t.full(v.VolumeL, taps),
			ExpectedL: k.now.Pail.LiquidL * float64(taps),
		}
	}
	if emptied {
		k.since = to
		k.now.Since, k.now.EmptiedAt = v.CollectedAt, to
		if k.now.Pail.Empty(); e.Why != "" && e.Why != Confirmed {
			k.now.Pail = rounds.Pail{}
		}
		k.leftL = k.now.Pail.IceL
	}
	return e
}

// nearlyFull is the share of what pails hold from which they count as full: each is a little more or less so.
const nearlyFull = 0.95

// A tank is measured as a whole, by a stick to a centimetre or two of sixty (common practice). Far more
// than it holds was not in it at once: it was emptied meanwhile, and what came is known.
const nearlyFullTank, moreThanATank = 0.97, 1.1

// full reports whether so much is what the containers of so many taps hold, or the tank that they
// share: then some of it may have run over.
func (t *Taps) full(litres float64, taps int) bool {
	if t.TankL > 0 {
		holds := t.ContainerL*float64(taps) + t.TankL
		return litres >= nearlyFullTank*holds && litres <= moreThanATank*holds
	}
	return t.ContainerL > 0 && litres >= nearlyFull*t.ContainerL*float64(taps)
}

// why says why a visit of so many taps teaches nothing, "" if it does, and whether the pails
// were emptied.
func (k *walk) why(v *records.Visit, to, taps int) (why string, emptied bool) {
	remarks := v.Remarks()
	gap := count(k.missing, k.since, to)
	switch {
	case len(k.out) > 0 && k.out[0].Holds(v.CollectedAt):
		why = "the taps were pulled"
	case remarks.Emptied:
		why = "the pails were emptied without a figure"
	case remarks.NotChecked || !v.Collected():
		return "not collected: left to the next visit", false
	case remarks.AsExpected:
		why = Confirmed
	case remarks.StartUnknown:
		why = "nobody knows since when its sap had been caught"
	case taps == 0:
		why = fmt.Sprintf("line %d says no number of taps", v.Line)
	case gap > weather.MaxFillHours:
		why = fmt.Sprintf("%d hours of the weather before it are missing", gap)
	}
	return why, true
}

// littleL is what has to have run of a tap, litres, before anybody has anything to go for.
const littleL = 0.1

// Hung is how things stand if nobody has come since the taps were bored and the
// pails hung. It is anybody's guess late after the first sap, not after the boring: in a cold spring
// nobody goes for weeks.
func Hung(w *weather.Series, flow []float64, bored time.Time, t Taps) Now {
	if bored.After(w.End()) {
		return Now{EmptiedAt: -1}
	}
	now := Now{Since: bored, EmptiedAt: max(w.Index(bored), 0)}
	ran := 0.0
	for i := now.EmptiedAt; i < min(w.Hours(), len(flow)); i++ {
		if ran += flow[i]; ran >= littleL {
			if w.End().Sub(w.Time(i)) > lateGap {
				return Now{EmptiedAt: -1}
			}
			break
		}
	}
	fill(&now.Pail, w, flow, 1, now.EmptiedAt, w.Hours(), t.meltShare())
	now.Ice = iceOf(w, flow, now.EmptiedAt, 0, t.meltShare())
	return now
}

// iceOfALitre is what a litre has turned to ice of, litres, that hung for so many hours
// before one.
func iceOfALitre(w *weather.Series, to int) float64 {
	const hours = 72
	p := rounds.Pail{LiquidL: 1}
	fill(&p, w, make([]float64, to), 1, to-hours, to, 1)
	return p.IceL
}

// fill lets what runs at so many times a usual tap's yield freeze and melt, as far as its
// share is of what a pail would.
func fill(p *rounds.Pail, w *weather.Series, flow []float64, yield float64, from, to int, share float64) {
	for i := max(from, 0); i < min(to, len(flow)); i++ {
		air := w.At(weather.TemperatureC, i)
		if math.IsNaN(air) {
			air = 0 // neither freezes nor melts
		}
		p.Hour(yield*flow[i], share*rounds.Melts(air))
	}
}

func count(missing []bool, from, to int) int {
	n := 0
	for i := max(from, 0); i < min(to, len(missing)); i++ {
		if missing[i] {
			n++
		}
	}
	return n
}

// effectiveDays is over how many local days the flow of some hours is spread,
// counting uneven ones for less; at least one.
func effectiveDays(w *weather.Series, flow []float64, zone *time.Location, from, to int) float64 {
	sum, squares, today := 0.0, 0.0, 0.0
	midnight := max(from, 0)
	for i := max(from, 0); i < min(to, len(flow)); i++ {
		if i >= midnight {
			squares += today * today
			today = 0
			year, month, day := w.Time(i).In(zone).Date()
			midnight = max(w.Index(time.Date(year, month, day+1, 0, 0, 0, 0, zone).Add(time.Hour-time.Nanosecond)), i+1)
		}
		today += flow[i]
		sum += flow[i]
	}
	squares += today * today
	if squares == 0 {
		return 1
	}
	return max(sum*sum/squares, 1)
}
