package forecast

import (
	"fmt"
	"math"
	"slices"
	"time"

	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// PastInputs is everything that a look back depends on: the weather that came,
// from before the season, and the visits of the season.
type PastInputs struct {
	Site     Site
	Weather  weather.Series
	Visits   []records.Visit
	Taps     []records.TapEvent
	Observed []records.Observation // of the bush's thermometer, by which its weather is judged, and of dripping
	From, To time.Time
	Taught   Taught // by the seasons before; may be empty
	DaysOnly bool   // hours, and what was to be expected at each visit, are left out: half of the work
}

// Past is what a stretch of time gave, worked out from the weather that came and
// from the visits. Volumes in litres, temperatures in °C.
type Past struct {
	Hours  Hours // all of them past; NaN where the weather is not known
	Days   []PastDay
	Visits []PastVisit
}

// PastDay is one local calendar day. A day of which too little weather is known, or in
// which the last taps were pulled, says nothing.
type PastDay struct {
	Date         string
	Known        bool
	SapL         Range
	MeanL        float64 // of many such days, for sums
	Ran          bool
	TemperatureC MinMax
}

// PastVisit is a visit beside what was to be expected at it, by the weather since
// the visit before and the yields that the season's visits teach.
type PastVisit struct {
	At        time.Time
	Group     string
	VolumeL   float64 // NaN where nothing was collected
	ExpectedL Range   // zero where Why says something
	Why       string  // why nothing is to be expected, "" if something is
	Pulled    bool    // the taps were out
}

// leastKnownHours is how much of a day's weather makes the day known.
const leastKnownHours = 20

// expectedDraws is how many draws a visit's range is taken from.
const expectedDraws = 200

// lookedBack is a season followed by the weather that came, with what all of its visits
// teach.
type lookedBack struct {
	in      Inputs
	came    weather.Series // before the bush's own thermometer
	w       weather.Series // leant by it
	missing []bool
	strands *strands
	held    *held
	bush    *volume.Bush
	brought gathered
}

// lookBack follows a season; ok is false where its weather is not known.
func lookBack(in *PastInputs) (l *lookedBack, ok bool, err error) {
	if in.Site.Taps() <= 0 {
		return nil, false, fmt.Errorf("site %s has no taps: give each group its number of taps", in.Site.ID)
	}
	l = &lookedBack{in: Inputs{Site: in.Site, Visits: in.Visits, TapEvents: in.Taps, Observed: in.Observed, Now: in.To, Taught: in.Taught}}
	tapsThen(&l.in, in.To)
	if l.w, l.missing, ok = bridged(&in.Weather, &l.in.Site); !ok {
		return nil, false, nil
	}
	l.came = l.w.Slice(0, l.w.Hours())
	l.strands, l.held, l.bush, err = learnFrom(&l.in, &l.w, l.missing)
	if err != nil {
		return nil, false, err
	}
	l.brought = l.held.gathered(&l.in, l.strands, l.bush)
	return l, true, nil
}

// LookBack works out what a season gave. It does no I/O.
func LookBack(in PastInputs) (Past, error) {
	l, ok, err := lookBack(&in)
	if err != nil || !ok {
		return Past{}, err
	}
	w, learnt := &l.w, l.bush
	mean, _ := learnt.Offset()
	w.Warm(mean)
	p := Past{Hours: l.hours()}
	p.Days = l.days(&p.Hours)
	if in.DaysOnly {
		return Past{Days: p.Days}, nil
	}
	for g, visits := range l.in.visitsByGroup() {
		group := &l.in.Site.Groups[g]
		for i, e := range l.held.entriesOf(g) { // one for each visit
			v := PastVisit{At: e.At, Group: group.ID, VolumeL: visits[i].VolumeL, Why: e.Why, Pulled: group.pulledAt(e.At)}
			if v.Why == "" {
				v.ExpectedL = quantiles(learnt.Collect(l.held.along(g, i), group.CapacityL(), expectedDraws, uint64(i)))
			}
			p.Visits = append(p.Visits, v)
		}
	}
	slices.SortStableFunc(p.Visits, func(a, b PastVisit) int { return a.At.Compare(b.At) })
	return p, nil
}

// tapsThen dates the taps back to the season that ends at a moment: by its records,
// else on the day of the year on which they are bored now, else in the middle of
// February (common practice).
func tapsThen(in *Inputs, to time.Time) {
	groups := slices.Clone(in.Site.Groups)
	usual := make([]time.Time, len(groups))
	for g := range groups {
		tapped := groups[g].Tapped
		usual[g] = time.Date(to.In(in.Site.Zone).Year(), time.February, 15, 12, 0, 0, 0, in.Site.Zone)
		if !tapped.IsZero() {
			usual[g] = time.Date(to.In(in.Site.Zone).Year(), tapped.Month(), tapped.Day(), 12, 0, 0, 0, in.Site.Zone)
		}
		if tapped.After(to) || to.Sub(tapped) > 300*24*time.Hour {
			groups[g].Tapped = time.Time{}
		}
	}
	in.Site.Groups, in.AsksTaps = groups, true
	datedTaps(in)
	for g := range in.Site.Groups {
		first := &in.Site.Groups[g].Tapped
		if before := in.Site.Groups[g].Before; len(before) > 0 {
			first = &before[0].From
		}
		if first.IsZero() {
			*first = usual[g]
		}
	}
}

// bridged cuts the weather to what is known and makes up the hours in between
// that are not, telling which.
func bridged(s *weather.Series, site *Site) (w weather.Series, missing []bool, ok bool) {
	w = s.Slice(0, s.Hours())
	w.FillGaps()
	first, last := -1, -1
	for i := range w.Hours() {
		if !math.IsNaN(w.At(weather.TemperatureC, i)) {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	if first < 0 {
		return w, nil, false
	}
	w = w.Slice(first, last+1)
	missing = make([]bool, w.Hours())
	for i := range missing {
		missing[i] = math.IsNaN(w.At(weather.TemperatureC, i))
	}
	w.Bridge(weather.TemperatureC)
	w.Complete(site.Place)
	return w, missing, true
}

// learnFrom follows a past and learns from the notebook held against it.
func learnFrom(in *Inputs, w *weather.Series, missing []bool) (*strands, *held, *volume.Bush, error) {
	e := weather.Ensemble{Past: *w, PastSuns: weather.Suns(w, in.Site.Place)}
	takeOwn(in, &e, w) // the columns are w's: it leans too
	know := in.knowledge()
	s := followPast(&in.Site, &e, know.Offsets())
	h := heldAgainst(in, s, missing)
	learnt, err := h.learn(in, s)
	if err != nil {
		return nil, nil, nil, err
	}
	s.weigh(learnt)
	return s, h, learnt, nil
}

func (l *lookedBack) hours() Hours {
	site, w, s := &l.in.Site, &l.w, l.strands
	h := Hours{Start: w.Start().In(site.Zone), Now: w.Hours()}
	yields := yieldsSaid(len(s.flow), l.bush)
	add := func(r *HourRange, low, mid, high float64) {
		r.P10, r.P50, r.P90 = append(r.P10, low), append(r.P50, mid), append(r.P90, high)
	}
	for i := range w.Hours() {
		if l.missing[i] {
			nan := math.NaN()
			add(&h.TemperatureC, nan, nan, nan)
			add(&h.FlowLH, nan, nan, nan)
		} else {
			t := round(w.At(weather.TemperatureC, i), 1)
			add(&h.TemperatureC, t, t, t)
			mid, low, high := pastFlow(site, s.flow, l.brought, yields, i)
			add(&h.FlowLH, low, mid, high)
		}
		h.PrecipitationMM = append(h.PrecipitationMM, orZero(w.At(weather.PrecipitationMM, i)))
		h.WoodIce = append(h.WoodIce, round(s.ice[i], 2))
	}
	return h
}

// tapsIn counts the taps that were in, hour by hour. Before a group was tapped they count
// too: nothing ran then.
func tapsIn(site *Site, w *weather.Series) []float64 {
	in := make([]float64, w.Hours())
	for g := range site.Groups {
		out := site.Groups[g].out()
		for i := range in {
			if at := w.Time(i + 1); !slices.ContainsFunc(out, func(s notebook.Stretch) bool { return s.Holds(at) }) {
				in[i] += float64(site.Groups[g].Taps)
			}
		}
	}
	return in
}

// days sums hours by local days.
func (l *lookedBack) days(h *Hours) []PastDay {
	site, w := &l.in.Site, &l.w
	in := tapsIn(site, w)
	var out []PastDay
	dayOf, known, taps, least := make([]int, w.Hours()), []int{}, []float64{}, []float64{}
	for i := range dayOf {
		date := w.Time(i).In(site.Zone).Format(time.DateOnly)
		if len(out) == 0 || out[len(out)-1].Date != date {
			out = append(out, PastDay{Date: date, TemperatureC: MinMax{math.Inf(1), math.Inf(-1)}})
			known, taps, least = append(known, 0), append(taps, 0), append(least, math.Inf(1))
		}
		d := len(out) - 1
		if dayOf[i] = d; l.missing[i] {
			dayOf[i] = -1
			continue
		}
		known[d], taps[d], least[d] = known[d]+1, taps[d]+in[i], min(least[d], in[i])
		t, seen := h.TemperatureC.P50[i], &out[d].TemperatureC
		*seen = MinMax{min(seen.Min, t), max(seen.Max, t)}
	}
	for i, sum := range l.sumDays(dayOf, len(out)) {
		d := &out[i]
		if d.Known = known[i] >= leastKnownHours && least[i] > 0; !d.Known {
			*d = PastDay{Date: d.Date}
			continue
		}
		wide := math.Exp(1.2816 * sum.logSD()) // of a normal law, four in five
		d.SapL = Range{round(sum.litres/wide, 1), round(sum.litres, 1), round(sum.litres*wide, 1)}
		d.MeanL = round(sum.meanL, 1)
		d.Ran = sum.litres >= volume.RunDayL*taps[i]/float64(known[i])
	}
	return out
}
