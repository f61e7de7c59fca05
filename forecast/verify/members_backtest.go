package verify

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"thawline/forecast/table"
	"thawline/forecast/weather"
)

// MembersCase is what members foretold for one place and time, and what came, °C.
type MembersCase struct {
	At        time.Time
	MembersC  []float64
	ObservedC float64
}

// ReadMembers reads a file of temperatures in °C: columns valid_utc, member… and
// observed…. Rows that lack one of them are left out.
func ReadMembers(r io.Reader, name string) ([]MembersCase, error) {
	body, err := io.ReadAll(r)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	const when = "valid_utc"
	known := []string{when}
	var members []string
	observed := ""
	header, _, _ := bytes.Cut(body, []byte("\n"))
	for _, c := range strings.FieldsFunc(strings.ToLower(string(header)),
		func(r rune) bool { return strings.ContainsRune(",;\t\r\"\ufeff", r) }) {
		switch {
		case strings.HasPrefix(c, "member"):
			members, known = append(members, c), append(known, c)
		case strings.HasPrefix(c, "observed"):
			observed, known = c, append(known, c)
		}
	}
	if len(members) < 2 || observed == "" {
		return nil, fmt.Errorf("%s:1: %d columns member… and %d observed…; name at least two of the first and one of the second", name,
			len(members), min(len(observed), 1))
	}
	t, err := table.NewReader(bytes.NewReader(body), name, known)
	if err != nil {
		return nil, err
	}
	t.Require(known...)
	if err := t.Err(); err != nil {
		return nil, err
	}
	var cases []MembersCase
	for row := range t.Rows() {
		at, err := time.Parse(time.RFC3339, row.Text(when))
		if err != nil {
			row.Fail(when, row.Text(when)+" is no time", "write it like 2004-01-01T00:00:00Z")
			continue
		}
		c := MembersCase{At: at, ObservedC: row.Number(observed)}
		sum := c.ObservedC
		for _, m := range members {
			x := row.Number(m)
			if x < -70 || x > 60 {
				row.Fail(m, row.Text(m)+" °C is no temperature of any place", "check the column and its unit")
			}
			c.MembersC, sum = append(c.MembersC, x), sum+x
		}
		if !math.IsNaN(sum) {
			cases = append(cases, c)
		}
	}
	slices.SortStableFunc(cases, func(a, b MembersCase) int { return a.At.Compare(b.At) })
	return cases, t.Err()
}

// MembersScore is how members did.
type MembersScore struct {
	BrierSkill float64 `json:"brier_skill"` // of frost, over how often it came in what is scored
	Coverage80 float64 `json:"coverage80"`  // share of what came between their 10 % and 90 %
}

// MembersResult compares members as they come with dressed ones, on the second
// half of a file by time; what dresses them was fitted on the first.
type MembersResult struct {
	N       int          `json:"n"` // rows scored
	Members int          `json:"members"`
	Raw     MembersScore `json:"raw"`
	Dressed MembersScore `json:"dressed"`
	// Weighed are dressed ones, each member weighed by how it did.
	Weighed MembersScore `json:"weighed"`
	BiasK   float64      `json:"bias_k"` // what came less the members' mean, first half
	SDK     float64      `json:"sd_k"`   // spread of what is left
}

// frostC is the event of the members' score: below it.
const frostC = 0.0

// BacktestMembers fits on the first half and scores the second.
func BacktestMembers(cases []MembersCase) (MembersResult, error) {
	const fewest = 200
	if len(cases) < fewest {
		return MembersResult{}, fmt.Errorf("%d complete rows, and at least %d are needed; give a longer file", len(cases), fewest)
	}
	middle := cases[len(cases)/2].At
	half, _ := slices.BinarySearchFunc(cases, middle, func(c MembersCase, at time.Time) int { return c.At.Compare(at) })
	fit, score := cases[:half], cases[half:]
	if len(fit) < fewest/2 {
		return MembersResult{}, fmt.Errorf("%d rows before %s to learn from; give a file of more days", len(fit),
			middle.Format(time.DateOnly))
	}
	equal := make([]float64, len(fit[0].MembersC))
	for i := range equal {
		equal[i] = 1 / float64(len(equal))
	}
	dressing := fitDressing(fit, equal)
	weighed := fitWeights(fit)
	r := MembersResult{N: len(score), Members: len(equal), BiasK: dressing.BiasK, SDK: dressing.SDK}
	r.Raw = scoreMembers(score, func(c *MembersCase) []float64 { return c.MembersC }, weather.Dressing{})
	r.Dressed = scoreMembers(score, func(c *MembersCase) []float64 { return c.MembersC }, dressing)
	r.Weighed = scoreMembers(score, func(c *MembersCase) []float64 { return []float64{dot(c.MembersC, weighed)} },
		fitDressing(fit, weighed))
	return r, nil
}

// fitDressing measures how what came strays from the weighed mean.
func fitDressing(fit []MembersCase, weights []float64) weather.Dressing {
	var sum, squares float64
	for i := range fit {
		e := fit[i].ObservedC - dot(fit[i].MembersC, weights)
		sum += e
		squares += e * e
	}
	n := float64(len(fit))
	return weather.Dressing{BiasK: sum / n, SDK: math.Sqrt(squares/n - sum/n*sum/n)}
}

// fitWeights weighs each member by the inverse of its mean square error.
func fitWeights(fit []MembersCase) []float64 {
	weights := make([]float64, len(fit[0].MembersC))
	sum := 0.0
	for i := range weights {
		alone := make([]float64, len(weights))
		alone[i] = 1
		weights[i] = 1 / square(fitDressing(fit, alone).SDK)
		sum += weights[i]
	}
	for i := range weights {
		weights[i] /= sum
	}
	return weights
}

// scoreMembers scores dressed members; without a dressing a member is a point.
func scoreMembers(cases []MembersCase, of func(*MembersCase) []float64, d weather.Dressing) MembersScore {
	var chance, happened, base []float64
	inside, frosts := 0.0, 0.0
	for i := range cases {
		c := &cases[i]
		members := of(c)
		happened = append(happened, as01(c.ObservedC < frostC))
		frosts += as01(c.ObservedC < frostC)
		chance = append(chance, d.Below(frostC, members))
		if d == (weather.Dressing{}) {
			inside += as01(c.ObservedC >= quantile(members, 0.1) && c.ObservedC <= quantile(members, 0.9))
			continue
		}
		below := d.Below(c.ObservedC, members)
		inside += as01(below >= 0.1 && below <= 0.9)
	}
	n := float64(len(cases))
	for range cases {
		base = append(base, frosts/n)
	}
	return MembersScore{BrierSkill(chance, base, happened), inside / n}
}

// quantile lies between the members on either side of it, in proportion.
func quantile(of []float64, p float64) float64 {
	sorted := slices.Sorted(slices.Values(of))
	at := p * float64(len(sorted)-1)
	i := min(int(at), len(sorted)-2)
	return sorted[i] + (sorted[i+1]-sorted[i])*(at-float64(i))
}
