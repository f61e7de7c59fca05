package verify

import (
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"thawline/forecast"
	"thawline/forecast/volume"
)

// VerdictScore is how often what a verdict of the evening speaks of came.
type VerdictScore struct {
	Verdict forecast.Verdict `json:"verdict"`
	N       int              `json:"n"`
	Said    float64          `json:"said"` // mean chance
	Came    float64          `json:"came"` // share
	Error   float64          `json:"standard_error"`
	// Of visits: the share within the range that four in five should be in, and the middle
	// one of its ninetieth parts by its tenth.
	Coverage80 *float64 `json:"coverage80,omitempty"`
	Wide       *float64 `json:"p90_by_p10,omitempty"`
}

// verdictScores part chances, and what came of them, by verdict, the surest first; verdicts
// that were never given are left out.
func verdictScores(chances, came []float64) []VerdictScore {
	out := []VerdictScore{}
	for _, v := range []forecast.Verdict{forecast.WillRun, forecast.Likely, forecast.Maybe, forecast.Unlikely, forecast.WontRun} {
		s := VerdictScore{Verdict: v}
		for i, p := range chances {
			if forecast.VerdictOf(p) == v {
				s.N++
				s.Said += p
				s.Came += came[i]
			}
		}
		if s.N == 0 {
			continue
		}
		n := float64(s.N)
		s.Said, s.Came = s.Said/n, s.Came/n
		s.Error = math.Sqrt(max(s.Came*(1-s.Came), 1/(n+2)/4) / n)
		out = append(out, s)
	}
	return out
}

// CoverageOf is how many visits of a month lay within the range that four in five should be
// in.
type CoverageOf struct {
	Month      string  `json:"month"` // 03
	N          int     `json:"n"`
	Coverage80 float64 `json:"coverage80"`
}

// byVerdict parts visits by how likely it was that a tap gave a run day's sap.
func byVerdict(visits []SapVisit) []VerdictScore {
	var chances, came []float64
	for i := range visits {
		v := &visits[i]
		chances = append(chances, v.RunChance)
		ran := 0.0
		if v.ObservedL >= volume.RunDayL*v.taps {
			ran = 1
		}
		came = append(came, ran)
	}
	scores := verdictScores(chances, came)
	for k := range scores {
		s := &scores[k]
		held := 0.0
		var wide []float64
		for i := range visits {
			if v := &visits[i]; forecast.VerdictOf(v.RunChance) == s.Verdict {
				held += as01(v.within()) / float64(s.N)
				if v.P10 > 0 {
					wide = append(wide, v.P90/v.P10)
				}
			}
		}
		s.Coverage80 = &held
		if len(wide) > 0 {
			slices.Sort(wide)
			middle := stat.Quantile(0.5, stat.LinInterp, wide, nil)
			s.Wide = &middle
		}
	}
	return scores
}

// byMonth parts visits by month.
func byMonth(visits []SapVisit) []CoverageOf {
	of := map[string]*CoverageOf{}
	for i := range visits {
		month := visits[i].Date[5:7]
		if of[month] == nil {
			of[month] = &CoverageOf{Month: month}
		}
		of[month].N++
		of[month].Coverage80 += as01(visits[i].within())
	}
	out := []CoverageOf{}
	for _, month := range slices.Sorted(maps.Keys(of)) {
		c := of[month]
		c.Coverage80 /= float64(c.N)
		out = append(out, *c)
	}
	return out
}
