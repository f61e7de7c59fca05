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
	var entries []Entry
	var flow []float64
	var now Now
	var season time.Time
	from, since := -1, -1
	out := t.Out
	// hang fills the pails up to an hour, those that hang since the taps were put in again.
	hang := func(to int) {
		for len(out) > 0 && !out[0].To.IsZero() && w.Index(out[0].To) <= to {
			from = max(w.Index(out[0].To), 0)
			since, now = from, Now{Since: out[0].To, EmptiedAt: from}
			if flow == nil {
				flow = t.Bored(from)
			}
			out = out[1:]
		}
		fill(&now.Pail, w, flow, from, to)
		from = to
	}
	var unseen time.Time // the last visit before the known weather
	for _, v := range visits {
		to := w.Index(v.CollectedAt)
		e := Entry{At: v.CollectedAt, To: to, Since: since, BrixPct: v.BrixPct}
		if v.Collected() {
			e.CarriedL = v.VolumeL
		}
		if to < 0 || to > w.Hours() {
			e.Why = OutsideWeather
			unseen = v.CollectedAt
			entries = append(entries, e)
			continue
		}
		remarks := v.Remarks()
		if from < 0 || v.CollectedAt.Sub(season) > seasonGap {
			// The first visit of a season: bored that day if nothing was collected,
			// else the day before.
			season, now.Pail = v.CollectedAt, rounds.Pail{}
			if from = to; v.Collected() {
				from = max(to-24, 0)
			}
			partly := !unseen.IsZero() && v.CollectedAt.Sub(unseen) < seasonGap
			if partly {
				season, from = unseen, 0
			}
			since = from
			flow = t.Bored(from)
			if partly && v.Collected() {
				e.Since, e.Why = since, "only part of the weather before it is known"
				for len(out) > 0 && !out[0].To.IsZero() && w.Index(out[0].To) <= to {
					out = out[1:]
				}
				from, since = to, to
				now.Since, now.EmptiedAt = v.CollectedAt, to
				entries = append(entries, e)
				continue
			}
		}
		hang(to)
		if e.Since, e.Iced = since, remarks.Ice; e.Iced {
			e.IceL = iceOfALitre(w, to)
		}
		taps := v.Taps
		if taps == 0 {
			taps = t.Count
		}
		gap := count(missing, since, to)
		emptied := true
		switch {
		case len(out) > 0 && out[0].Holds(v.CollectedAt):
			e.Why = "the taps were pulled"
		case remarks.Emptied:
			e.Why = "the pails were emptied without a figure"
		case remarks.NotChecked || !v.Collected():
			e.Why = "not collected: left to the next visit"
			emptied = false
		case remarks.AsExpected:
			e.Why = Confirmed
		case remarks.StartUnknown:
			e.Why = "nobody knows since when its sap had been caught"
		case taps == 0:
			e.Why = fmt.Sprintf("line %d says no number of taps", v.Line)
		case gap > weather.MaxFillHours:
			e.Why = fmt.Sprintf("%d hours of the weather before it are missing", gap)
		default:
			e.Visit = volume.Visit{
				Group: t.Group, Months: v.CollectedAt.Sub(season).Hours() / 720, Taps: taps,
				Days: effectiveDays(w, flow, zone, since, to), ObservedL: v.VolumeL,
				AtLeast:   remarks.Full || t.ContainerL > 0 && v.VolumeL >= 0.95*t.ContainerL*float64(taps),
				ExpectedL: now.Pail.LiquidL * float64(taps),
			}
		}
		if emptied {
			since = to
			now.Since, now.EmptiedAt = v.CollectedAt, to
			if now.Pail.Empty(); e.Why != "" && e.Why != Confirmed {
				now.Pail = rounds.Pail{}
			}
		}
		entries = append(entries, e)
	}
	if from >= 0 || len(out) > 0 {
		hang(w.Hours())
	}
	if w.End().Sub(now.Since) > lateGap || len(out) > 0 {
		now = Now{EmptiedAt: -1}
	}
	return entries, now
}

// Hung is how things stand if nobody has come since the taps were bored and the
// pails hung.
func Hung(w *weather.Series, flow []float64, bored time.Time) Now {
	if w.End().Sub(bored) > lateGap || bored.After(w.End()) {
		return Now{EmptiedAt: -1}
	}
	now := Now{Since: bored, EmptiedAt: max(w.Index(bored), 0)}
	fill(&now.Pail, w, flow, now.EmptiedAt, w.Hours())
	return now
}

// iceOfALitre is what a litre has turned to ice of, litres, that hung for so many hours
// before one.
func iceOfALitre(w *weather.Series, to int) float64 {
	const hours = 72
	p := rounds.Pail{LiquidL: 1}
	fill(&p, w, make([]float64, to), to-hours, to)
	return p.IceL
}

func fill(p *rounds.Pail, w *weather.Series, flow []float64, from, to int) {
	for i := max(from, 0); i < min(to, len(flow)); i++ {
		air := w.At(weather.TemperatureC, i)
		if math.IsNaN(air) {
			air = 0 // neither freezes nor melts
		}
		p.Hour(flow[i], air)
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
