package forecast

import (
	"fmt"
	"math"
	"slices"
	"time"

	"thawline/forecast/maple"
	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/season"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// MostEarlierSeasons is how many seasons before this one are learnt from.
const MostEarlierSeasons = 10

// EarlierWinters are the starts of the first winter that is learnt from and of this
// one.
func EarlierWinters(now time.Time, zone *time.Location) (first, this time.Time) {
	this = season.WinterStart(now, zone)
	return this.AddDate(-MostEarlierSeasons, 0, 0), this
}

// Taught is what the seasons before this one taught.
type Taught struct {
	Know     volume.Knowledge // of the groups of the site, in order; without groups if nothing was taught
	Seasons  []int            // of each group, those whose records taught something
	BySums   int              // seasons of which only the sums were known
	LeftOut  int              // seasons with records, but too few
	SeesDays int              // how many days ahead forecasts saw; 0 if too few evenings tell
	Ends     []SapEnd         // of the seasons before
	Buds     []float64        // the levels at which leaf buds opened, of the springs in which that was noted
	Signs    []season.SignYear
	Years    weather.Daily // lows and highs of earlier years at the place; may be empty
}

// Teach goes through earlier seasons, the oldest first. Where the weather of a
// season is kept each visit is held against the flow that it should have brought;
// else the whole season's sap is held against a usual season's. In between a bush's
// yield strays from year to year, so that old seasons count less.
func Teach(site *Site, seasons []notebook.Season) (Taught, error) {
	t := Taught{}
	for i := range seasons {
		s := &seasons[i]
		if s.Weather.Has(weather.TemperatureC) {
			days := s.Weather.Days(site.Zone)
			if t.Years.Days() > 0 {
				days = t.Years.Overlay(&days)
			}
			t.Years = days
		}
		t.see(site, s)
		if len(s.Visits) == 0 {
			continue
		}
		if end, ok := endOf(site, s); ok {
			t.Ends = append(t.Ends, end)
		}
		if err := t.learn(site, s); err != nil {
			return t, fmt.Errorf("the season up to %s: %w", s.To.Format(time.DateOnly), err)
		}
	}
	return t, nil
}

func (t *Taught) learn(site *Site, s *notebook.Season) error {
	if t.Seasons == nil {
		t.Seasons = make([]int, len(site.Groups))
	}
	in := Inputs{Site: *site, Visits: s.Visits, TapEvents: s.Taps, Observed: s.Observed, Now: s.To, Taught: *t}
	tapsThen(&in, s.To)
	if w, missing, ok := bridged(&s.Weather, &in.Site); ok {
		_, h, learnt, err := learnFrom(&in, &w, missing)
		if err != nil {
			return err
		}
		if learnt.Visits >= fewestVisits {
			t.Know = learnt.NextSeason()
			for g := range in.Site.Groups {
				if slices.ContainsFunc(h.entriesOf(g), func(e notebook.Entry) bool { return e.Why == "" }) {
					t.Seasons[g]++
				}
			}
			return nil
		}
	}
	know, taught, visits := in.knowledge(), false, in.visitsByGroup()
	for g := range know.Groups {
		litresTap, whole := seasonTotal(&in, g, visits[g])
		if whole {
			know.Groups[g], taught = know.Groups[g].AfterSeason(litresTap), true
			t.Seasons[g]++
		}
	}
	if !taught {
		t.LeftOut++
		return nil
	}
	t.Know = know
	t.BySums++
	return nil
}

// A season whose weather is not known counts as a whole one from so many visits on,
// over so long a time.
const (
	fewestVisits  = 5
	shortestStand = 21 * 24 * time.Hour
)

// SapEnd is what a season teaches of the end of good sap: the warmth at the last time that
// sap was carried in. It is censored where taps were pulled right after that, while the sap
// may still have been good.
type SapEnd struct {
	On       time.Time
	Warmth   float64 // season.Warmth, K d
	DOY      float64 // the day of the year
	Censored bool
}

// pulledSoon is how soon after the last sap taps are pulled by those who stop for another
// reason (common practice: sap is fetched every second or third day).
const pulledSoon = 3 * 24 * time.Hour

func endOf(site *Site, s *notebook.Season) (end SapEnd, ok bool) {
	var last, pulled time.Time
	for i := range s.Visits {
		if v := &s.Visits[i]; v.Collected() && v.VolumeL > 0 && v.CollectedAt.After(last) {
			last = v.CollectedAt
		}
	}
	for i := range s.Taps {
		if e := &s.Taps[i]; e.Kind == records.Pulled && e.On.After(pulled) {
			pulled = e.On
		}
	}
	days := s.Weather.Days(site.Zone)
	days.FillGaps()
	end.On = last
	end.Warmth, ok = season.Warmth(&days, last.In(site.Zone))
	end.DOY = float64(last.In(site.Zone).YearDay())
	end.Censored = !pulled.IsZero() && pulled.Sub(last) < pulledSoon
	return end, ok && !last.IsZero()
}

// seasonTotal is what a tap of a group gave over a season, litres, by the notebook. Taps
// that were pulled before one season in ten is over did not see a whole one.
func seasonTotal(in *Inputs, group int, visits []records.Visit) (litresTap float64, whole bool) {
	g := &in.Site.Groups[group]
	var first, last time.Time
	n := 0
	for _, v := range visits {
		if !v.Collected() {
			continue
		}
		taps := v.Taps
		if taps == 0 {
			taps = g.Taps
		}
		if n++; n == 1 {
			first = v.CollectedAt
		}
		last = v.CollectedAt
		litresTap += v.VolumeL / float64(max(taps, 1))
	}
	early := !g.Pulled.IsZero() && g.Pulled.Before(season.UsualEnd(in.Site.Place.LatitudeDeg, in.Site.Place.ElevationM,
		g.Pulled.In(in.Site.Zone)).P10)
	return litresTap, !early && n >= fewestVisits && last.Sub(first) >= shortestStand && litresTap > 0 && !math.IsInf(litresTap, 0)
}

// prior is what is held of a group's yield before any record.
func (g *Group) prior() volume.Belief {
	b, of := volume.Prior(g.Method), maple.Of(g.Species)
	b.LogMean += math.Log(of.Yield)
	b.OwnLogSD = math.Sqrt(max(of.YieldLogSD*of.YieldLogSD-b.LogSD*b.LogSD, 0))
	return b
}

// knowledge is what is held of the bush before the records of this season.
func (in *Inputs) knowledge() volume.Knowledge {
	beliefs := make([]volume.Belief, len(in.Site.Groups))
	for g := range beliefs {
		beliefs[g] = in.Site.Groups[g].prior()
	}
	know := volume.Unknown(beliefs...)
	if len(in.Taught.Know.Groups) == len(beliefs) {
		know = in.Taught.Know
		know.Groups = slices.Clone(know.Groups)
	}
	if in.ByPlan {
		know.Habit = volume.ByTheClock()
	}
	if in.Offset.SDK > 0 {
		know.OffsetK, know.OffsetSDK = in.Offset.MeanK, in.Offset.SDK
	}
	return know
}

func (t *Taught) seasonsOf(group int) int {
	if group < len(t.Seasons) {
		return t.Seasons[group]
	}
	return 0
}

// Any reports whether anything was taught.
func (t *Taught) Any() bool { return t.Know.Groups != nil }
