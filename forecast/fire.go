package forecast

import (
	"math"
	"slices"
	"time"

	"thawline/forecast/boil"
	"thawline/forecast/rounds"
	"thawline/forecast/weather"
)

// fire is what can be boiled, and when.
type fire struct {
	site   *Site
	pan    boil.Pan
	row    boil.Row // of several pans, else none
	lost   float64  // share of syrup that stays in pan and filter
	brix   float64
	syrup  float64
	perSap float64 // litres of water to boil away of one of sap
	leastL float64 // of sap, for the pan in which it is finished
	given  bool    // somebody has said when they boil
	done   time.Time
}

const (
	// The fire burns so long a day, from eight on, where nobody has said when they boil
	// (common practice).
	boilsFrom = 8 * time.Hour
	boilsTo   = 20 * time.Hour
	// A pot on a stove, where no pan is described: 36 cm wide (common practice).
	potM2 = 0.1
	// Sap that comes so soon after the pan has run low finds the fire still lit.
	staysLit = 2 * time.Hour
)

func newFire(in *Inputs) *fire {
	f := &fire{site: &in.Site, syrup: in.Site.Boiling.SyrupBrix, given: len(in.Site.Boiling.Hours) > 0}
	if f.syrup == 0 {
		f.syrup = boil.SyrupBrix
	}
	f.pan, f.row, f.lost = panOf(in)
	f.brix, _ = brixOf(in)
	f.perSap = boil.WaterPerSap(f.brix, f.syrup, f.pan)
	f.leastL = boil.LeastSyrupL(in.Site.Boiling.Finishing().AreaM2) * boil.SapPerSyrup(f.brix, f.syrup)
	f.leastL = max(f.leastL, f.row.HoldsL()) // a row is flooded before it is lit
	return f
}

// spans are the hours in which somebody boils that begin on the local days from one to
// another, in order, joined where they meet.
func (f *fire) spans(from, to time.Time) []rounds.Span {
	hours := f.site.Boiling.Hours
	if !f.given {
		for day := time.Sunday; day <= time.Saturday; day++ {
			hours = append(hours, Free{Weekday: day, From: boilsFrom, To: boilsTo})
		}
	}
	first := from.In(f.site.Zone)
	var out []rounds.Span
	for d := 0; ; d++ {
		midnight := time.Date(first.Year(), first.Month(), first.Day()+d, 0, 0, 0, 0, f.site.Zone)
		if midnight.After(to) {
			break
		}
		for _, h := range hours {
			if h.Weekday == midnight.Weekday() {
				out = append(out, rounds.Span{From: onClock(midnight, h.From), To: onClock(midnight, h.To)})
			}
		}
	}
	slices.SortFunc(out, func(a, b rounds.Span) int { return a.From.Compare(b.From) })
	joined := out[:0]
	for _, s := range out {
		if n := len(joined); n > 0 && !s.From.After(joined[n-1].To) {
			joined[n-1].To = later(joined[n-1].To, s.To)
			continue
		}
		joined = append(joined, s)
	}
	return joined
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// inHours is the sap that the pan takes in so many hours, once it is hot.
func (f *fire) inHours(d time.Duration) float64 { return d.Hours() * f.pan.Rate() / f.perSap }

// takes is how long the pan needs for so much sap, once it is hot.
func (f *fire) takes(litres float64) time.Duration {
	return time.Duration(litres * f.perSap / f.pan.Rate() * float64(time.Hour))
}

// byHour is the sap that the pan can take, hour by hour from a full hour on.
func (f *fire) byHour(start time.Time, hours int) []float64 {
	out := make([]float64, hours)
	end := start.Add(time.Duration(hours) * time.Hour)
	for _, s := range f.spans(start.AddDate(0, 0, -1), end) {
		for h := range out {
			from := start.Add(time.Duration(h) * time.Hour)
			if both := earlier(s.To, from.Add(time.Hour)).Sub(later(s.From, from)); both > 0 {
				out[h] += f.inHours(both)
			}
		}
	}
	return out
}

// asTheyCome lets the fire burn in the hours for it until a moment, where nobody writes
// down what is boiled; what is held back for a class stays. What has gone bad is tipped out
// within two days.
func (f *fire) asTheyCome(s *shelf, until time.Time) {
	if f.done.IsZero() {
		f.done = until
	}
	for _, span := range f.spans(f.done.AddDate(0, 0, -1), until) {
		from, to := later(span.From, f.done), earlier(span.To, until)
		if to.After(from) {
			free := max(s.good(from)-s.held(from), 0)
			taken, brixL := s.take(min(f.inHours(to.Sub(from)), free), true, from)
			if taken > 0 {
				s.syrupL += taken / boil.SapPerSyrup(brixL/taken, f.syrup)
			}
		}
	}
	f.done = until
	s.forget(until, 48*time.Hour)
}

// coming is sap that a round brings.
type coming struct {
	at     time.Time
	group  string
	litres float64
	used   float64
}

// comingIn are the rounds' loads that are fit to boil, by when they are in.
func comingIn(o *Outlook) []coming {
	var out []coming
	for i := range o.Work.Rounds {
		r := &o.Work.Rounds[i]
		for _, g := range r.Groups {
			if !g.TipOut && g.VolumeL > 0 {
				out = append(out, coming{r.End, g.Group, g.VolumeL, g.AgeUsed})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b coming) int { return a.at.Compare(b.at) })
	return out
}

// burn is a fire as it goes on: the sap on the shelf and what is still to come.
type burn struct {
	*fire
	shelf  *shelf
	next   []coming
	visits []visit // of classes, for which sap is held back
	// days are those of the outlook, planned until when rounds are.
	days    []Day
	planned time.Time
}

// pour takes in what has come by a moment.
func (b *burn) pour(at time.Time) {
	for len(b.next) > 0 && !b.next[0].at.After(at) {
		one := b.next[0]
		b.shelf.carryIn(one.at, one.group, one.litres, b.brix, one.used, one.at)
		b.next = b.next[1:]
	}
}

// waits reports whether there is too little for the pan, and what there is keeps until
// somebody boils again.
func (b *burn) waits(at time.Time, again rounds.Span) bool {
	return b.free(at) < b.leastL && !again.To.IsZero() && !b.shelf.first(at).Before(again.To)
}

// in lets the fire burn within a span: when it is lit and out, what went into the pan,
// and when the first of that would have gone bad; zero times without a fire.
func (b *burn) in(span, again rounds.Span) (start, end, bad time.Time, sapL float64) {
	at := span.From
	b.pour(at)
	for b.free(at) < someSapL || b.waits(at, again) {
		if len(b.next) == 0 || !b.next[0].at.Before(span.To) {
			return start, end, bad, 0
		}
		at = later(at, b.next[0].at)
		b.pour(at)
	}
	if span.To.Sub(at) < 2*boil.LightUp {
		return start, end, bad, 0
	}
	start, bad = at, b.shelf.first(at)
	at = at.Add(boil.LightUp)
	for at.Before(span.To) {
		until := span.To
		if len(b.next) > 0 {
			until = earlier(until, later(b.next[0].at, at))
		}
		taken, _ := b.shelf.take(min(b.inHours(until.Sub(at)), b.free(at)), true, at)
		sapL += taken
		if lasted := b.takes(taken); at.Add(lasted + time.Minute).Before(until) { // the pan has run low
			at = at.Add(lasted)
			if !until.Before(span.To) || until.Sub(at) > staysLit {
				break
			}
		}
		at = until
		b.pour(at)
	}
	return start, earlier(at, span.To).Truncate(time.Minute), bad, sapL
}

// boilDays works out what each day means for the fire. Where no service gives the
// air pressure, what is usual at the height stands in: hours and wood hardly change,
// draw-off points only by less than a degree, and the day says so.
func boilDays(in *Inputs, o *Outlook, e *weather.Ensemble, c *calendar, now *shelf) []BoilDay {
	f := newFire(in)
	_, measured := brixOf(in)
	pressure := dayPressures(len(o.Days), e, c)
	height, heightKnown := heightOf(in)
	b := &burn{fire: f, shelf: now.clone(), next: comingIn(o), visits: visitsOf(o.Classes), days: o.Days,
		planned: in.Now.Add(planHours * time.Hour)}
	out := []BoilDay{}
	spans := f.spans(c.dates[0], c.end.AddDate(0, 0, 7))
	for d := range o.Days {
		p, known := pressure[d], !math.IsNaN(pressure[d])
		if !known {
			p = weather.StandardPressureHPa(height)
		}
		day := BoilDay{Date: o.Days[d].Date, HoursGiven: f.given, PressureHPa: round(p, 1), PressureKnown: known,
			HeightKnown: heightKnown, Brix: round(f.brix, 1), BrixMeasured: measured,
			BoilingPointC: round(boil.WaterBoilsC(p), 2), DrawOffC: round(boil.DrawOffC(p, f.syrup), 2)}
		for i := range o.Work.Rounds {
			if r := &o.Work.Rounds[i]; r.Start.Format(time.DateOnly) == day.Date {
				day.GatheredL = round(day.GatheredL+r.SapL(), 1)
			}
		}
		evening := c.end
		if d+1 < len(c.dates) {
			evening = c.dates[d+1]
		}
		// Visits first: what a round brings later in the day is not there for them.
		for i := range b.visits {
			if v := &b.visits[i]; !v.done && v.From.Before(evening) {
				b.burnVisit(&day, v, p)
			}
		}
		for len(spans) > 0 && spans[0].From.Before(evening) {
			span := spans[0]
			spans = spans[1:]
			if span.From = later(span.From, in.Now.Truncate(time.Minute)); span.From.Before(span.To) {
				b.burnOn(&day, span, firstOf(spans), p)
			}
		}
		b.pour(evening)
		day.close(b, evening, in.Site.Boiling.StoreL)
		if d <= 1 {
			day.ByHour = hoursOf(e, c, d, f.syrup)
		}
		out = append(out, day)
	}
	for i := range o.Classes {
		o.Classes[i].choose()
	}
	return out
}

func firstOf(spans []rounds.Span) rounds.Span {
	if len(spans) == 0 {
		return rounds.Span{}
	}
	return spans[0]
}

// burnOn adds a span's fire to its day.
func (b *burn) burnOn(day *BoilDay, span, again rounds.Span, pressureHPa float64) {
	start, end, bad, sapL := b.in(span, again)
	if sapL >= someSapL {
		b.add(day, start, end, bad, sapL, pressureHPa)
	}
}

// add adds a fire to its day.
func (b *burn) add(day *BoilDay, start, end, bad time.Time, sapL, pressureHPa float64) {
	total := day.SapL + sapL
	batch, err := boil.Boil(total, b.brix, b.syrup, pressureHPa, b.pan)
	if err != nil { // figures that no pan has: nothing can be said of a fire
		return
	}
	batch.TooLittle = total < b.leastL
	if len(b.row) > 0 {
		b.burnt(&batch)
	}
	if day.Start == nil || start.Before(*day.Start) {
		day.Start = local(start, b.site.Zone)
		day.BoilBy = nil
		if by, longer := knownUntil(bad, b.shelf.life.end()); !longer {
			day.BoilBy = local(by, b.site.Zone)
		}
	}
	if day.End == nil || end.After(*day.End) {
		day.End = local(end, b.site.Zone)
	}
	day.Batch, day.SapL, day.SyrupL, day.TooLittle = &batch, round(total, 1), round(batch.SyrupL*(1-b.lost), 2), batch.TooLittle
}

// burnt puts the fuel of a row in place of that of one pan.
func (b *burn) burnt(batch *boil.Batch) {
	var apart *boil.Vessel
	if b.site.Boiling.FinishM2 > 0 {
		v := b.site.Boiling.Finishing()
		apart = &v
	}
	batch.WoodCords, batch.GasL = b.row.Burnt(batch.WaterToBoilL*boil.DensityKgL(0), batch.SyrupKg, b.syrup, apart)
}

// close says what stays in the evening.
func (day *BoilDay) close(b *burn, evening time.Time, room float64) {
	left := b.shelf.good(evening)
	if room > 0 && left > room {
		day.NoRoomForL = round(left-room, 1)
		b.shelf.take(left-room, true, evening)
		left = room
	}
	day.LeftL, day.SpoiltL = round(left, 1), round(b.shelf.spoilt(evening), 1)
	if left >= someSapL {
		until, longer := knownUntil(b.shelf.first(evening), b.shelf.life.end())
		day.KeepsUntil, day.KeepsLonger = local(until, b.site.Zone), longer
		day.TooLittle = day.TooLittle || day.Batch == nil && left < b.leastL
	}
}

// heightOf is the height of the pan: of the trees, or as the service has it; else that
// of the sea.
func heightOf(in *Inputs) (m float64, known bool) {
	for _, m := range []float64{in.Site.Place.ElevationM, in.Bulletin.ElevationM} {
		if !math.IsNaN(m) {
			return m, true
		}
	}
	return 0, false
}

// dayPressures are the mean station pressures between ten and six, or of what is left
// of the day after that; NaN where they are not known.
func dayPressures(days int, e *weather.Ensemble, c *calendar) []float64 {
	mean := func(from, to int) []float64 {
		sum, count := make([]float64, days), make([]float64, days)
		for h, d := range c.futureDay {
			p := e.Futures[0].At(weather.SurfacePressureHPa, h)
			if hour := e.Futures[0].Time(h).In(c.zone).Hour(); d >= 0 && !math.IsNaN(p) && hour >= from && hour < to {
				sum[d] += p
				count[d]++
			}
		}
		for d := range sum {
			sum[d] /= count[d] // 0/0 is NaN
		}
		return sum
	}
	out, rest := mean(10, 18), mean(0, 24)
	for d := range out {
		if math.IsNaN(out[d]) {
			out[d] = rest[d]
		}
	}
	return out
}

// hoursOf are the draw-off points of a day's waking hours.
func hoursOf(e *weather.Ensemble, c *calendar, day int, syrup float64) []BoilHour {
	var out []BoilHour
	for h, d := range c.futureDay {
		at := e.Futures[0].Time(h).In(c.zone)
		p := e.Futures[0].At(weather.SurfacePressureHPa, h)
		if d == day && at.Hour() >= 6 && at.Hour() <= 22 && !math.IsNaN(p) {
			out = append(out, BoilHour{at, round(boil.WaterBoilsC(p), 2), round(boil.DrawOffC(p, syrup), 2)})
		}
	}
	return out
}
