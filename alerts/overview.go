package alerts

import (
	"fmt"
	"slices"
	"time"

	"thawline/forecast"
)

// Overview is the evening of more bushes than a handful in one message, for somebody who
// would otherwise get a text of each.
const Overview Kind = "overview"

// BushTomorrow is what an overview needs to know of one bush, from its outlook.
type BushTomorrow struct {
	Name   string
	Chance float64   // of a run tomorrow
	OverAt time.Time // when the first of its groups is likely to run over; zero where none is
	Fresh  bool      // its weather is, and reaches tomorrow
}

// BushesFacts are the figures of an overview: no litres, which are a bush's own people's.
type BushesFacts struct {
	All   int      `json:"all"`   // in season
	Run   int      `json:"run"`   // sap runs there, or is likely to
	May   int      `json:"may"`   // it may
	Over  int      `json:"over"`  // likely to run over
	Stale int      `json:"stale"` // without a fresh forecast
	First []string `json:"first"` // names of those that run over, the first ahead
	// StaleFirst are names of those without a fresh forecast.
	StaleFirst []string `json:"stale_first,omitempty"`
}

// mostFirst is how many names an overview has at hand: none has room for more.
const mostFirst = 4

// DecideOverview is what to tell somebody, in an evening, of all the bushes that are theirs
// to watch and in season: nothing where nothing is coming, unless the evening before said
// that something was. It reports false then, and where the memory fails.
func DecideOverview(person string, bushes []BushTomorrow, m Memory, now time.Time, t Thresholds) (d Decision, tells bool, err error) {
	f := &BushesFacts{All: len(bushes)}
	soonest := slices.Clone(bushes)
	slices.SortStableFunc(soonest, func(a, b BushTomorrow) int { return a.OverAt.Compare(b.OverAt) })
	for i := range soonest {
		b := &soonest[i]
		switch forecast.VerdictOf(b.Chance) {
		case forecast.WillRun, forecast.Likely:
			f.Run++
		case forecast.Maybe:
			f.May++
		}
		if !b.Fresh {
			if f.Stale++; len(f.StaleFirst) < mostFirst {
				f.StaleFirst = append(f.StaleFirst, b.Name)
			}
		}
		if b.OverAt.IsZero() {
			continue
		}
		if f.Over++; len(f.First) < mostFirst {
			f.First = append(f.First, b.Name)
		}
	}
	today := now.Format(time.DateOnly)
	last, at, told, err := m.Last("", Overview, person+":")
	if err != nil {
		return d, false, err
	}
	saidBefore := told && last.Facts.Bushes != nil && last.Facts.Bushes.Run > 0 &&
		at.In(now.Location()).Format(time.DateOnly) == now.AddDate(0, 0, -1).Format(time.DateOnly)
	announced := slices.ContainsFunc(bushes, func(b BushTomorrow) bool { return b.Chance >= t.RunProbability })
	staleIsNews := f.Stale > 0 && (!told || now.Sub(at) > again)
	if !announced && f.Over == 0 && !saidBefore && !staleIsNews {
		return d, false, nil
	}
	return Decision{Kind: Overview, Key: string(Overview) + ":" + person + ":" + today, Until: EndOfDay(now).Add(8 * time.Hour),
		Facts: Facts{Date: now.AddDate(0, 0, 1).Format(time.DateOnly), Bushes: f},
		Why:   []string{fmt.Sprintf("the evening of %d bushes in season", f.All)}}, true, nil
}

// Watched reads from an outlook when the first group of a bush is likely to run over, zero
// where none is, and whether the bush is in season.
func Watched(work *forecast.Work, s *forecast.Season, now time.Time, t Thresholds) (overAt time.Time, open bool) {
	spring := springOf(s, work)
	for i := range work.Groups {
		g := &work.Groups[i]
		if t.RunsOver(g, now) && (overAt.IsZero() || g.AloneOverAt.Before(overAt)) {
			overAt = *g.AloneOverAt
		}
	}
	return overAt, s.Closed == nil && spring.Open(now)
}
