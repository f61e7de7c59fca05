package verify

import (
	"math"
	"time"

	"thawline/forecast"
)

// EveningSkill is how good a site's own evenings were, by the weather that came
// and by what was collected.
type EveningSkill struct {
	N, Right   int     // evenings whose next day is known; those that leaned the right way
	BrierSkill float64 // over the share of these days on which sap ran; NaN if that is none or all
	Chances    []Chance
	Bins       []Bin
	Visits     []SapVisit
	Last       []EveningRow // the newest first
}

// Chance is how often sap ran on days of which a chance between two bounds, in
// per cent, was told.
type Chance struct{ FromPct, ToPct, Count, Ran int }

// EveningRow is one evening beside its next day.
type EveningRow struct {
	Evening, For string // local dates
	Probability  float64
	VolumeL      forecast.Range
	Known, Ran   bool
	CameL        float64
}

// chanceBounds are wide enough that a season fills them.
var chanceBounds = []int{0, 10, 30, 70, 90, 100}

// Evenings holds evenings against the days that they spoke of. Visits are
// compared with the sum of what the evenings before had said of the days since
// the visit before, by the group's share of the taps that were in; what was visited with
// its taps pulled is left out; adding up tenths and nine
// tenths makes the range too wide rather than too narrow. share gives a group's
// part of all taps, 0 for one that is not known.
func Evenings(evenings []forecast.Evening, days []forecast.PastDay, visits []forecast.PastVisit, share func(group string) float64,
	zone *time.Location) EveningSkill {
	came := map[string]forecast.PastDay{}
	for _, d := range days {
		if d.Known {
			came[d.Date] = d
		}
	}
	var s EveningSkill
	told := map[string]toldDay{} // the next day's part of each evening, by the day it is for
	var probability, happened []float64
	for _, b := range bounds() {
		s.Chances = append(s.Chances, Chance{FromPct: b[0], ToPct: b[1]})
	}
	for i := range evenings {
		e := &evenings[i]
		if len(e.Days) == 0 {
			continue
		}
		next := e.Days[0]
		told[next.Date] = toldDay{next.VolumeL, e.TapsIn}
		d, known := came[next.Date]
		row := EveningRow{Evening: e.Date, For: next.Date, Probability: next.RunProbability, VolumeL: next.VolumeL, Known: known,
			Ran: d.Ran, CameL: d.SapL.P50}
		s.Last = append([]EveningRow{row}, s.Last...)
		if !known {
			continue
		}
		ran := 0.0
		if d.Ran {
			ran = 1
		}
		probability, happened = append(probability, next.RunProbability), append(happened, ran)
		s.N++
		if (next.RunProbability >= 0.5) == d.Ran {
			s.Right++
		}
		s.count(next.RunProbability, d.Ran)
	}
	s.Bins = Reliability(probability, happened)
	base := 0.0
	for _, h := range happened {
		base += h / float64(len(happened))
	}
	s.BrierSkill = math.NaN()
	if reference := base * (1 - base); reference > 0 {
		s.BrierSkill = 1 - Brier(probability, happened)/reference
	}
	s.Visits = visitsTold(told, visits, share, zone)
	return s
}

func bounds() (out [][2]int) {
	for i := 1; i < len(chanceBounds); i++ {
		out = append(out, [2]int{chanceBounds[i-1], chanceBounds[i]})
	}
	return out
}

func (s *EveningSkill) count(p float64, ran bool) {
	for i := len(s.Chances) - 1; i >= 0; i-- {
		if c := &s.Chances[i]; 100*p >= float64(c.FromPct) {
			c.Count++
			if ran {
				c.Ran++
			}
			return
		}
	}
}

// longestSum is over how many days evenings are added up.
const longestSum = 7

// toldDay is what an evening said of its next day, and of which share of the taps; 0 for
// all.
type toldDay struct {
	litres forecast.Range
	tapsIn float64
}

func visitsTold(told map[string]toldDay, visits []forecast.PastVisit, share func(string) float64, zone *time.Location) []SapVisit {
	last := map[string]time.Time{}
	var out []SapVisit
	for _, v := range visits {
		if math.IsNaN(v.VolumeL) || v.Pulled {
			continue
		}
		day := midnight(v.At.In(zone))
		before, seen := last[v.Group]
		last[v.Group] = day
		ofAll := share(v.Group)
		if !seen || ofAll == 0 || day.Sub(before) > longestSum*24*time.Hour+time.Hour || !day.After(before) {
			continue
		}
		one := SapVisit{Date: day.Format(time.DateOnly), Group: v.Group, ObservedL: v.VolumeL}
		whole := true
		for d := before.AddDate(0, 0, 1); !d.After(day); d = d.AddDate(0, 0, 1) {
			said, known := told[d.Format(time.DateOnly)]
			if !known {
				whole = false
				break
			}
			part := ofAll
			if said.tapsIn > 0 {
				part /= said.tapsIn
			}
			one.P10, one.P50, one.P90 = one.P10+part*said.litres.P10, one.P50+part*said.litres.P50, one.P90+part*said.litres.P90
		}
		if whole {
			out = append(out, one)
		}
	}
	return out
}

func midnight(t time.Time) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, t.Location())
}
