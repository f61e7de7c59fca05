package forecast

import (
	"math"
	"time"

	"thawline/forecast/maple"
	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// budNotes is what is known of a spring's leaf buds: when those of sugar maples open, or the
// day on which somebody saw the bush's.
type budNotes struct {
	opening season.Opening
	known   bool // this spring, from March on
	noted   string
	springs int // before this one, from which the place was learnt
}

// budsOf is what is known of this spring's leaf buds, by what earlier ones taught.
func budsOf(in *Inputs, here time.Time, spring *season.Spring) budNotes {
	place := in.Site.Place
	buds := season.SugarMaple(place.LatitudeDeg)
	buds.Learn(in.Taught.Buds)
	out := budNotes{springs: len(in.Taught.Buds)}
	from := season.WinterStart(here, in.Site.Zone)
	for i := range in.Observed {
		if o := &in.Observed[i]; o.Kind == records.Buds && in.sees(o) && !o.At.Before(from) && (out.noted == "" || o.Day < out.noted) {
			out.noted = o.Day
		}
	}
	out.opening, out.known = buds.Ahead(here, spring, place.ElevationM)
	return out
}

// leaves are when the leaf buds of a species open; their day itself once somebody noted it,
// nil where this spring is not known. What earlier springs taught is of the maples that turn
// last.
func (t *turning) leaves(of maple.Species) *BudDates {
	b := &t.buds
	if !b.known && b.noted == "" {
		return nil
	}
	out := &BudDates{Species: string(of), Noted: b.noted, NotedSprings: b.springs}
	date := func(doy float64) string {
		return time.Date(t.here.Year(), 1, int(math.Round(doy)), 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
	}
	traits, learnt := maple.Of(of), 0.0
	if b.springs > 0 {
		learnt = maple.Of(latest(&t.in.Site)).LeavesDays
	}
	if b.known {
		opening := b.opening.Later(traits.LeavesDays-learnt, traits.BudsSDDays)
		out.SeasonEnd = SeasonEnd{date(opening.Quantile(0.1)), date(opening.Quantile(0.5)), date(opening.Quantile(0.9))}
		out.First = date(b.opening.Quantile(0.5) + traits.FirstBudsDays - learnt)
	}
	if b.noted != "" {
		out.SeasonEnd = SeasonEnd{b.noted, b.noted, b.noted}
	}
	return out
}

// tasteOf is how likely sap is to taste off by days to come, nil outside the months in which
// that is asked.
func tasteOf(in *Inputs, here time.Time, good *season.Dates) *Taste {
	if here.Month() < time.February || here.Month() > time.May {
		return nil
	}
	t := Taste{Source: CommonPractice}
	for _, days := range []int{0, 3, 7, 14} {
		date := here.AddDate(0, 0, days)
		t.OffBy = append(t.OffBy, OffBy{date.Format(time.DateOnly), round(good.By(date), 2)})
	}
	from := season.WinterStart(here, in.Site.Zone)
	var last time.Time
	for i := range in.Observed {
		if o := &in.Observed[i]; o.Kind.Taste() && in.sees(o) && !o.At.Before(from) && o.At.After(last) {
			last, t.Said, t.SaidOn = o.At, o.Kind, o.Day
		}
	}
	return &t
}

// goBySigns tells what this spring's signs and those of earlier ones say, and by how many
// days they move the end.
func (s *Season) goBySigns(in *Inputs, here time.Time, courses []weather.Daily) (days float64) {
	s.Signs = []SeasonSign{}
	from, first := season.WinterStart(here, in.Site.Zone), map[string]*records.Observation{}
	seen := append([]season.SignYear{}, in.Taught.Signs...)
	for i := range in.Observed {
		o := &in.Observed[i]
		key := records.SignKey(o.Sign)
		if o.Kind != records.Sign || !in.sees(o) || o.At.Before(from) {
			continue
		}
		if before := first[key]; before == nil || o.Day < before.Day {
			first[key] = o
		}
	}
	warm := 0.0
	for k := range courses {
		day, ok := season.WarmDay(&courses[k], here.Year())
		if !ok {
			return 0
		}
		warm += day / float64(len(courses))
	}
	told := map[string]bool{}
	for _, l := range season.LearnSigns(seen) {
		key := records.SignKey(l.Sign)
		told[key] = true
		sign := SeasonSign{Sign: l.Sign, Springs: l.Years, BeforeRunDays: days1(l.BeforeRunDays), BeforeEndDays: days1(l.BeforeEndDays)}
		if o := first[key]; o != nil {
			moves := l.Moves(dayOfYear(o.Day), warm)
			sign.Seen, sign.MovesEndDays = o.Day, round(moves, 1)
			days += moves
		}
		s.Signs = append(s.Signs, sign)
	}
	for i := range in.Observed { // of which earlier springs know nothing, in the order in which they were seen
		o := &in.Observed[i]
		if key := records.SignKey(o.Sign); first[key] == o && !told[key] {
			s.Signs = append(s.Signs, SeasonSign{Sign: o.Sign, Seen: o.Day})
		}
	}
	return days
}

func days1(x float64) *float64 {
	if math.IsNaN(x) {
		return nil
	}
	x = round(x, 0)
	return &x
}

// dayOfYear counts a local date from 1 January.
func dayOfYear(day string) float64 {
	d, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return math.NaN()
	}
	return float64(d.YearDay())
}

// see takes in what was noted of buds and signs in an earlier season.
func (t *Taught) see(site *Site, s *notebook.Season) {
	days := s.Weather.Days(site.Zone)
	year := s.To.In(site.Zone).Year()
	end, ended := endOf(site, s)
	known := season.SignYear{Year: year}
	known.WarmDOY, _ = season.WarmDay(&days, year)
	if ended && !end.Censored {
		known.EndDOY = end.DOY
	}
	for i := range s.Visits {
		if v := &s.Visits[i]; v.Collected() && v.VolumeL > 0 {
			if day := float64(v.CollectedAt.In(site.Zone).YearDay()); v.CollectedAt.In(site.Zone).Year() == year &&
				(known.RunDOY == 0 || day < known.RunDOY) {
				known.RunDOY = day
			}
		}
	}
	budDay, first := "", map[string]int{}
	for i := range s.Observed {
		switch o := &s.Observed[i]; o.Kind {
		case records.Buds:
			if budDay == "" || o.Day < budDay {
				budDay = o.Day
			}
		case records.Sign:
			y := known
			y.Sign, y.SeenDOY = o.Sign, dayOfYear(o.Day)
			if o.Day < time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC).Format(time.DateOnly) {
				continue // of the autumn
			}
			key := records.SignKey(o.Sign)
			if at, again := first[key]; !again {
				first[key], t.Signs = len(t.Signs), append(t.Signs, y)
			} else if y.SeenDOY < t.Signs[at].SeenDOY {
				t.Signs[at] = y
			}
		}
	}
	if opened, err := time.Parse(time.DateOnly, budDay); err == nil {
		spring := season.Spring{Known: days}
		if level, ok := season.SugarMaple(site.Place.LatitudeDeg).Noted(opened, &spring, site.Place.ElevationM); ok {
			t.Buds = append(t.Buds, level)
		}
	}
}
