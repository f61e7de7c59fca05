package verify

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"thawline/forecast/records"
	"thawline/forecast/sap"
	"thawline/forecast/weather"
)

// FitRow is one season of one bush, to fit the flow's constants on or to be left out.
type FitRow struct {
	Name    string
	Weather *weather.Series
	Visits  []records.Visit
	Options SapOptions
}

// Constants are those of the flow that are fitted, as in sap.Parameters.
type Constants struct {
	AsleepShare float64 `json:"asleep_share"`
	WakingHeat  float64 `json:"waking_heat_ch"`
	EmptyHours  float64 `json:"empty_hours"`
}

func (c *Constants) parameters() sap.Parameters {
	p := sap.Usual
	p.AsleepShare, p.WakingHeat, p.EmptyHours = c.AsleepShare, c.WakingHeat, c.EmptyHours
	return p
}

// ReadConstants reads constants of the flow that were fitted elsewhere: the JSON of a
// Constants, or that of a FitResult, of which the first row's are taken. Errors call the
// file by name.
func ReadConstants(r io.Reader, name string) (Constants, error) {
	var read struct {
		Constants
		Rows []SapResult `json:"rows"`
	}
	if err := json.NewDecoder(r).Decode(&read); err != nil {
		return Constants{}, fmt.Errorf("%s: not the JSON of constants: %w; write it with thawline backtest fit --leave NAME --json",
			name, err)
	}
	c := read.Constants
	if len(read.Rows) > 0 && read.Rows[0].Flow != nil {
		c = *read.Rows[0].Flow
	}
	if !(c.AsleepShare > 0 && c.AsleepShare <= 1 && c.WakingHeat > 0 && c.EmptyHours > 0) {
		return Constants{}, fmt.Errorf("%s: asleep_share above 0 and up to 1, waking_heat_ch and empty_hours above 0 are needed; write it with thawline backtest fit --leave NAME --json", name)
	}
	return c, nil
}

// candidates are the constants that are tried.
func candidates() []Constants {
	var all []Constants
	for _, empty := range []float64{14, 20, 24, 28} {
		all = append(all, Constants{1, sap.Usual.WakingHeat, empty})
		for _, asleep := range []float64{0.1, 0.2, 0.4} {
			for _, heat := range []float64{150, 300, 600} {
				all = append(all, Constants{asleep, heat, empty})
			}
		}
	}
	return all
}

// alike is by how little of the CRPS skill a few seasons cannot tell constants apart.
const alike = 0.02

// FitResult is how well each row was foretold by constants fitted on the others.
type FitResult struct {
	LeftOut      []SapResult    `json:"rows"`
	N            int            `json:"n"`
	CRPSSkill    float64        `json:"crps_skill"` // the rows' mean, as are the next two
	HabitSkill   float64        `json:"habit_crps_skill"`
	FlowSpearman float64        `json:"flow_spearman"`
	Coverage80   float64        `json:"coverage80"` // of all visits, as are the next two
	Verdicts     []VerdictScore `json:"verdicts"`
	Months       []CoverageOf   `json:"months"`
}

// Fit leaves rows out in turn, those named or all, and foretells their visits by
// constants of the flow fitted on the others: the middle of those whose mean CRPS skill
// there is next to the best. What visits teach of the bush is its offset in temperature,
// its yield, its days' spread, and why its keeper comes (volume.Bush).
func Fit(ctx context.Context, rows []FitRow, leave []string, progress func(done, of int)) (FitResult, error) {
	return fitOf(ctx, rows, leave, candidates(), progress)
}

func fitOf(ctx context.Context, rows []FitRow, leave []string, tried []Constants, progress func(done, of int)) (FitResult, error) {
	var result FitResult
	seasons, started := make([]*bushSeason, len(rows)), make([]SapResult, len(rows))
	var names []string
	for i := range rows {
		var err error
		if seasons[i], err = rows[i].season(&started[i]); err != nil {
			return result, fmt.Errorf("%s: %w", rows[i].Name, err)
		}
		names = append(names, rows[i].Name)
	}
	if len(leave) == 0 {
		leave = names
	}
	for _, name := range leave {
		if !slices.Contains(names, name) {
			return result, fmt.Errorf("no row is called %s; the table has %s", name, strings.Join(names, ", "))
		}
	}
	if len(rows) < 2 {
		return result, fmt.Errorf("%d row in the table: give those to fit on besides the one left out", len(rows))
	}
	only := "" // a row that is left out alone is not fitted on
	if len(leave) == 1 {
		only = leave[0]
	}
	skill := make([][]float64, len(rows))
	for i, s := range seasons {
		if progress != nil {
			progress(i, len(rows))
		}
		skill[i] = make([]float64, len(tried))
		for k := range tried {
			if names[i] == only {
				break
			}
			p, r := tried[k].parameters(), SapResult{}
			if err := s.run(ctx, &p, &r); err != nil {
				return result, fmt.Errorf("%s: %w", names[i], err)
			}
			skill[i][k] = r.CRPSSkill
		}
	}
	for _, name := range leave {
		out := slices.Index(names, name)
		c := fitted(skill, out, tried)
		p, r := c.parameters(), started[out]
		if err := seasons[out].run(ctx, &p, &r); err != nil {
			return result, fmt.Errorf("%s: %w", name, err)
		}
		r.LeftOut, r.Flow = name, &c
		result.LeftOut = append(result.LeftOut, r)
	}
	result.finish()
	return result, nil
}

// season follows the weather of a row.
func (row *FitRow) season(r *SapResult) (*bushSeason, error) {
	*r = SapResult{Notes: []string{}, Visits: []SapVisit{}}
	if row.Options.Taps == 0 {
		row.Options.Taps = usualTaps(r, row.Visits, nil)
	}
	if err := checkVisits(row.Visits, row.Weather, row.Options.Now); err != nil {
		return nil, err
	}
	groups := groupsOf(row.Visits)
	return newBushSeason(row.Weather, row.Visits, groups, row.Options.unknown(groups), &row.Options)
}

// fitted is the middle of the constants that do next to best on the rows but one.
func fitted(skill [][]float64, out int, tried []Constants) Constants {
	mean := make([]float64, len(tried))
	for i := range skill {
		for k := range mean {
			if i != out {
				mean[k] += skill[i][k] / float64(len(skill)-1)
			}
		}
	}
	best := slices.Max(mean)
	var c Constants
	n := 0.0
	for k := range tried {
		if mean[k] >= best-alike {
			n++
			c.AsleepShare += math.Log(tried[k].AsleepShare)
			c.WakingHeat += math.Log(tried[k].WakingHeat)
			c.EmptyHours += math.Log(tried[k].EmptyHours)
		}
	}
	return Constants{math.Exp(c.AsleepShare / n), math.Exp(c.WakingHeat / n), math.Exp(c.EmptyHours / n)}
}

func (f *FitResult) finish() {
	rows := float64(len(f.LeftOut))
	for i := range f.LeftOut {
		r := &f.LeftOut[i]
		f.N += r.N
		f.CRPSSkill += r.CRPSSkill / rows
		f.HabitSkill += r.HabitSkill / rows
		f.FlowSpearman += r.FlowSpearman / rows
		f.Coverage80 += r.Coverage80 * float64(r.N)
	}
	f.Coverage80 /= float64(f.N)
	var all []SapVisit
	for i := range f.LeftOut {
		all = append(all, f.LeftOut[i].Visits...)
	}
	f.Verdicts, f.Months = byVerdict(all), byMonth(all)
}
