package forecast

import (
	"time"

	"thawline/forecast/maple"
	"thawline/forecast/records"
	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// turning is what is known of when the sap of a spring turns.
type turning struct {
	in      *Inputs
	here    time.Time       // now
	courses []weather.Daily // that the spring may take, equally likely
	known   *weather.Daily  // of the spring so far
	buds    budNotes
	sugar   groupSugar
	made    map[maple.Species]turned
	held    map[maple.Species]*season.GoodSap // beliefs

	laterDays float64 // than by warmth, by the signs of spring
}

// latest is the species of a site's taps that are in which turns last: with it the season
// ends.
func latest(site *Site) maple.Species {
	best, found := maple.Sugar, false
	for g := range site.Groups {
		of := site.Groups[g].Species.Name()
		if site.Groups[g].In() && (!found || maple.Of(of).Warmth > maple.Of(best).Warmth) {
			best, found = of, true
		}
	}
	if !found && len(site.Groups) > 0 {
		return site.Groups[0].Species.Name()
	}
	return best
}

// belief is what is held of the warmth at which the sap of a species turns here. A season
// of the bush ended with those of its maples that turn last.
func (t *turning) belief(of maple.Species) *season.GoodSap {
	if b := t.held[of]; b != nil {
		return b
	}
	traits, last := maple.Of(of), 0.0
	for g := range t.in.Site.Groups {
		last = max(last, maple.Of(t.in.Site.Groups[g].Species).Warmth)
	}
	b := season.GoodSapAt(traits.Warmth, traits.WarmthLogSD)
	for _, end := range t.in.Taught.Ends {
		b.Learn(end.Warmth*traits.Warmth/last, end.Censored)
	}
	if t.held == nil {
		t.held = map[maple.Species]*season.GoodSap{}
	}
	t.held[of] = &b
	return &b
}

// usual is when the sap of a species turns by all courses, worked out once.
func (t *turning) usual(species maple.Species) (good season.Dates, off time.Time) {
	one, known := t.made[species]
	if !known {
		one.good, one.off = t.of(species, t.courses)
		if t.made == nil {
			t.made = map[maple.Species]turned{}
		}
		t.made[species] = one
	}
	return one.good, one.off
}

// turned is when sap turns, and since when somebody has tasted that it has.
type turned struct {
	good season.Dates
	off  time.Time
}

// of is when the sap of a species turns if the spring takes one of some courses, and since
// when somebody has tasted that it has.
func (t *turning) of(species maple.Species, courses []weather.Daily) (good season.Dates, off time.Time) {
	b := t.belief(species)
	good = b.Ends(t.here, courses)
	good = good.Shift(t.laterDays)
	lastGood, off := lastGood(t.in, species)
	if !lastGood.IsZero() {
		good = good.After(lastGood.In(t.in.Site.Zone))
	}
	if !off.IsZero() {
		good = good.Before(off.In(t.in.Site.Zone))
	}
	return good, off
}

// lastGood is when sap of a species was last known to be good this season: it was carried
// in, or somebody tasted it; off is when somebody tasted that it is no more, or saw leaf
// buds open, and nobody has tasted otherwise since.
func lastGood(in *Inputs, species maple.Species) (good, off time.Time) {
	from := season.WinterStart(in.Now, in.Site.Zone)
	of := map[string]bool{"": true} // of all
	for g := range in.Site.Groups {
		of[in.Site.Groups[g].ID] = in.Site.Groups[g].Species.Name() == species
	}
	good, off = lastTasted(in, of, from)
	if good.After(off) {
		off = time.Time{}
	}
	for g, visits := range in.visitsByGroup() {
		if !of[in.Site.Groups[g].ID] {
			continue
		}
		for _, v := range visits {
			if v.Collected() && v.VolumeL > 0 && v.CollectedAt.After(from) && v.CollectedAt.After(good) &&
				(off.IsZero() || v.CollectedAt.Before(off)) {
				good = v.CollectedAt
			}
		}
	}
	return good, off
}

// lastTasted is when sap of some groups ("" is all of them) was last found to be good since
// a moment, and when to be off.
func lastTasted(in *Inputs, of map[string]bool, from time.Time) (good, off time.Time) {
	for i := range in.Observed {
		switch o := &in.Observed[i]; {
		case !in.sees(o) || !of[o.Group] || o.At.Before(from):
		case (o.Kind == records.Off || o.Kind == records.Buds) && o.At.After(off):
			off = o.At
		case o.Kind == records.Sweet && o.At.After(good):
			good = o.At
		}
	}
	return good, off
}
