package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"time"

	"thawline/forecast"
	"thawline/forecast/chart"
	"thawline/forecast/notebook"
	"thawline/forecast/units"
	"thawline/forecast/verify"
)

type skillBody struct {
	Say, Within, Sees   string
	Chances             []string
	Reliability, Visits *picture
	Evenings            [][]string
	Verdicts            *verdictsBody
}

// skill is how good the evenings of this season were.
func (p *Pages) skill(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/skill")
	if v == nil {
		return
	}
	year := seasonYear(p.Now(), v.Site.Zone)
	past, err := p.seasonOf(r.Context(), v.Site, year)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	from, _ := p.seasonSpan(year, v.Site.Zone)
	documents, err := p.Records.Evenings(r.Context(), v.Site.ID, from.Format(time.DateOnly))
	if err != nil {
		p.failed(w, r, err)
		return
	}
	var evenings []forecast.Evening
	for _, d := range documents {
		var e forecast.Evening
		if err := json.Unmarshal(d, &e); err != nil {
			p.failed(w, r, fmt.Errorf("a kept evening: %w", err))
			return
		}
		evenings = append(evenings, e)
	}
	b := &skillBody{Say: v.T("skill_none")}
	if past != nil && len(evenings) > 0 {
		b = skillOf(v, p.untilToday(v, past), evenings)
	}
	if o := p.Outlooks.Outlook(r.Context(), v.Site.ID); o != nil && o.Source.SeesDays > 0 {
		b.Sees = v.N("skill_sees", o.Source.SeesDays)
	}
	if past != nil {
		past = p.untilToday(v, past)
	}
	if b.Verdicts, err = p.verdicts(r, v, evenings, past); err != nil {
		p.failed(w, r, err)
		return
	}
	v.Body = b
	p.send(w, r, http.StatusOK, "skill", v)
}

// untilToday leaves out the day that is not over.
func (p *Pages) untilToday(v *view, past *forecast.Past) *forecast.Past {
	out := *past
	if n := len(out.Days); n > 0 && out.Days[n-1].Date == p.Now().In(v.Site.Zone).Format(time.DateOnly) {
		out.Days = out.Days[:n-1]
	}
	return &out
}

func skillOf(v *view, past *forecast.Past, evenings []forecast.Evening) *skillBody {
	share := func(group string) float64 {
		for _, g := range v.Site.Groups {
			if g.ID == group {
				return float64(g.Taps) / float64(v.Site.Taps())
			}
		}
		return 0
	}
	s := verify.Evenings(evenings, past.Days, past.Visits, share, v.Site.Zone)
	s.Visits = measured(s.Visits, past.Visits, v.Site.Zone)
	b := &skillBody{Say: v.N("skill_said", s.N, "Right", s.Right)}
	if s.N == 0 {
		b.Say = v.T("skill_none")
	}
	for _, c := range s.Chances {
		if c.Count > 0 {
			b.Chances = append(b.Chances, v.N("skill_chance", c.Count, "From", c.FromPct, "To", c.ToPct, "Ran", c.Ran))
		}
	}
	if s.N > 0 {
		b.Reliability = v.reliability(s.Bins)
	}
	if len(s.Visits) > 0 {
		within := 0
		for _, one := range s.Visits {
			if one.P10 <= one.ObservedL && one.ObservedL <= one.P90 {
				within++
			}
		}
		b.Within = v.N("skill_within", len(s.Visits), "Within", within)
		b.Visits = v.foretold(s.Visits, b.Within)
	}
	b.Evenings = v.lastEvenings(s.Last)
	return b
}

// measured leaves out the rounds whose figure was taken from what was expected: the forecast
// is not judged by itself.
func measured(visits []verify.SapVisit, past []forecast.PastVisit, zone *time.Location) []verify.SapVisit {
	confirmed := map[string]bool{}
	for i := range past {
		if past[i].Why == notebook.Confirmed {
			confirmed[past[i].Group+" "+past[i].At.In(zone).Format(time.DateOnly)] = true
		}
	}
	return slices.DeleteFunc(visits, func(one verify.SapVisit) bool { return confirmed[one.Group+" "+one.Date] })
}

func (v *view) reliability(bins []verify.Bin) *picture {
	l := &chart.SkillLabels{Title: v.T("chart_reliability"), Line: v.T("chart_reliability_line"), Axis: v.T("chart_reliability_axis"), Foot: v.T("chart_reliability_foot"),
		Bin: func(b verify.Bin) string {
			return v.T("chart_reliability_bin", "Said", percent(b.MeanProbability), "Ran", percent(b.Frequency), "N", b.Count)
		}}
	rows := [][]string{{v.T("skill_col_said"), v.T("skill_col_ran"), v.T("skill_col_count")}}
	for _, b := range bins {
		rows = append(rows, []string{percent(b.MeanProbability) + "\u00a0%", percent(b.Frequency) + "\u00a0%", fmt.Sprint(b.Count)})
	}
	return v.framed("chances", rows, func(s chart.Size) chart.Picture { return chart.Reliability(bins, l, s) })
}

func (v *view) foretold(visits []verify.SapVisit, within string) *picture {
	number := func(l float64) string { n, _ := v.words.Volume(l); return n }
	day := func(date string) string {
		t, err := time.Parse(time.DateOnly, date)
		if err != nil {
			return date
		}
		return v.words.Date(t)
	}
	l := &chart.SkillLabels{Title: v.T("chart_visits"), Line: v.T("chart_visits_line"), Axis: v.T("chart_visits_axis"), Foot: within, Unit: v.Unit(), Date: day, Number: v.words.Number,
		Volume: func(l float64) float64 { x, _ := units.VolumeIn(l, v.system); return x },
		Visit: func(one verify.SapVisit) string {
			return v.T("chart_visits_one", "Date", day(one.Date)+" "+v.groupName(one.Group), "Volume", number(one.ObservedL), "Mid", number(one.P50), "Low", number(one.P10), "High", number(one.P90), "Unit", v.Unit())
		}}
	rows := [][]string{{v.T("records_when"), v.T("records_group"), v.T("col_collected", "Unit", v.Unit()), v.T("skill_col_foretold", "Unit", v.Unit())}}
	for _, one := range visits {
		rows = append(rows, []string{day(one.Date), v.groupName(one.Group), number(one.ObservedL), number(one.P50) + " (" + number(one.P10) + "–" + number(one.P90) + ")"})
	}
	return v.framed("visits", rows, func(s chart.Size) chart.Picture { return chart.Visits(visits, l, s) })
}

func (v *view) lastEvenings(last []verify.EveningRow) [][]string {
	const most = 14
	number := func(l float64) string { n, _ := v.words.Volume(l); return n }
	rows := [][]string{{v.T("skill_evening"), v.T("skill_for"), v.T("skill_came")}}
	for _, e := range last {
		if len(rows) > most {
			break
		}
		came := v.T("skill_unknown")
		switch {
		case e.Known && e.Ran:
			came = v.T("skill_ran") + ", " + v.Volume(e.CameL)
		case e.Known:
			came = v.T("skill_ran_not")
		}
		rows = append(rows, []string{v.dateOf(e.Evening), units.Chance(e.Probability) + ", " + number(e.VolumeL.P50) + " (" + number(e.VolumeL.P10) + "–" + number(e.VolumeL.P90) + ") " + v.Unit(), came})
	}
	return rows
}
