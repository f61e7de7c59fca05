package forecast

import (
	"math"
	"slices"
	"time"

	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// Told is what the evenings before a round had said that it would carry in.
type Told struct {
	Date, Group string // local date of the round
	SapL        Range
	CameL       float64
}

// Cause is why a round carried in something else than the evenings had said.
type Cause string

// The causes, in the order in which they are taken away.
const (
	ByWeather Cause = "weather" // other weather came than was forecast
	ByPlace   Cause = "place"   // the bush is warmer or colder than was known
	ByTrees   Cause = "trees"   // its trees give more or less than was known
	ByHabit   Cause = "habit"   // the rest: what was left behind or spilt, and the day's own luck
)

// Causes are all of them.
func Causes() []Cause { return []Cause{ByWeather, ByPlace, ByTrees, ByHabit} }

// Miss is what a round carried in beside what was told, litres. The parts add up to
// CameL - ToldL.
type Miss struct {
	At    time.Time         `json:"at"`
	Group string            `json:"group"`
	ToldL float64           `json:"told_l"`
	CameL float64           `json:"came_l"`
	Parts map[Cause]float64 `json:"parts_l"`
}

// Largest is the cause with the largest part.
func (m *Miss) Largest() Cause {
	largest := ByWeather
	for _, c := range Causes() {
		if math.Abs(m.Parts[c]) > math.Abs(m.Parts[largest]) {
			largest = c
		}
	}
	return largest
}

// Review finds why rounds carried in something else than was told. Each is worked out anew
// by what was known when its sap began to be caught, but with the weather that came; then
// with what the whole season tells of the bush's air; then with what it tells of the yields.
// A part is what its step moves the litres by, and what is left over is the keeper's. Rounds
// that teach nothing are left out. It does no I/O.
func Review(in PastInputs, told []Told) ([]Miss, error) {
	l, ok, err := lookBack(&in)
	if err != nil || !ok {
		return nil, err
	}
	var out []Miss
	for i := range told {
		g, k := l.find(&told[i])
		if k < 0 {
			continue
		}
		m, err := l.review(&told[i], g, k)
		if err != nil {
			return nil, err
		}
		out = append(out, m)
	}
	slices.SortStableFunc(out, func(a, b Miss) int { return a.At.Compare(b.At) })
	return out, nil
}

// find is the group and the visit that were told of, the first of its day; -1 where there is
// none that teaches.
func (l *lookedBack) find(t *Told) (group, visit int) {
	for g := range l.in.Site.Groups {
		if l.in.Site.Groups[g].ID != t.Group {
			continue
		}
		for i, e := range l.held.entriesOf(g) {
			if e.CarriedL > 0 && e.At.In(l.in.Site.Zone).Format(time.DateOnly) == t.Date {
				if e.Why != "" {
					return g, -1
				}
				return g, i
			}
		}
	}
	return -1, -1
}

// review takes one cause after the other away.
func (l *lookedBack) review(t *Told, g, i int) (Miss, error) {
	e := &l.held.entriesOf(g)[i]
	began := l.w.Time(e.Since)
	m := Miss{At: e.At, Group: t.Group, ToldL: t.SapL.P50, CameL: t.CameL, Parts: map[Cause]float64{}}
	then, heldThen, err := l.knownAt(began)
	if err != nil {
		return m, err
	}
	placed, err := l.placedAt(began)
	if err != nil {
		return m, err
	}
	before := m.ToldL
	for _, s := range []struct {
		cause Cause
		bush  *volume.Bush
		held  *held
	}{{ByWeather, then, heldThen}, {ByPlace, placed, l.held}, {ByTrees, l.bush, l.held}} {
		litres := quantiles(s.bush.Collect(s.held.along(g, i), l.in.Site.Groups[g].CapacityL(), expectedDraws, uint64(i))).P50
		m.Parts[s.cause], before = litres-before, litres
	}
	m.Parts[ByHabit] = m.CameL - before
	return m, nil
}

// knownAt is what was known of the bush at a moment, beneath the weather that came.
func (l *lookedBack) knownAt(at time.Time) (*volume.Bush, *held, error) {
	in := l.in
	in.Offset = Offset{} // which the season's thermometer told
	in.Observed = slices.DeleteFunc(slices.Clone(in.Observed), func(o records.Observation) bool { return o.At.After(at) })
	w := l.came.Slice(0, l.came.Hours())
	e := weather.Ensemble{Past: w, PastSuns: weather.Suns(&w, in.Site.Place)}
	takeOwn(&in, &e, &w)
	know := in.knowledge()
	s := followPast(&in.Site, &e, know.Offsets())
	h := heldAgainst(&in, s, l.missing)
	bush, err := h.until(at).learn(&in, s)
	return bush, h, err
}

// placedAt is what was known of the yields at a moment, with the bush's air as the whole
// season tells of it.
func (l *lookedBack) placedAt(at time.Time) (*volume.Bush, error) {
	bush, err := l.held.until(at).learn(&l.in, l.strands)
	if err != nil {
		return nil, err
	}
	now, is := bush.Weights(), l.bush.Weights()
	for n := range now {
		if is[n] > 0 && now[n] > 0 {
			is[n] /= now[n]
		}
	}
	return bush, bush.Believe(is)
}

// until is the notebook as it was at a moment.
func (h *held) until(at time.Time) *held {
	out := &held{entries: make([][][]notebook.Entry, len(h.entries)), now: h.now}
	for g := range h.entries {
		entries := h.entriesOf(g)
		n := slices.IndexFunc(entries, func(e notebook.Entry) bool { return e.At.After(at) })
		if n < 0 {
			n = len(entries)
		}
		for _, along := range h.entries[g] {
			out.entries[g] = append(out.entries[g], along[:n])
		}
		for i := range n {
			if entries[i].Why == "" {
				out.visits = append(out.visits, h.along(g, i))
			}
		}
	}
	out.sort()
	return out
}
