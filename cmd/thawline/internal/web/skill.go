package web

import (
	"fmt"
	"net/http"
	"time"

	"thawline/alerts"
	"thawline/cmd/thawline/internal/lookback"
	"thawline/forecast"
	"thawline/forecast/chart"
	"thawline/forecast/records"
	"thawline/forecast/units"
	"thawline/forecast/verify"
)

type skillBody struct {
	Within, Sees        string
	Visits, Reliability *picture
	Right               string // of the evenings, "" where nobody saw any
	Nobody              string // that it is so
	Evenings            []month
	Chances             []string
	Last                [][]string
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
	evenings, err := lookback.Evenings(r.Context(), p.Past, v.Site, from, p.Now())
	if err != nil {
		p.failed(w, r, err)
		return
	}
	if past != nil {
		past = p.untilToday(v, past)
	}
	seen, err := p.seenDays(r, v, past, from)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	b := &skillBody{Nobody: v.T("skill_none")}
	if len(evenings) > 0 {
		b = skillOf(v, past, evenings, seen)
	}
	if o := p.Outlooks.Outlook(r.Context(), v.Site.ID); o != nil && o.Source.SeesDays > 0 {
		b.Sees = v.N("skill_sees", o.Source.SeesDays)
	}
	if b.Verdicts, err = p.verdicts(r, v, evenings, seen); err != nil {
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

// seenDays are the days of a season of which somebody saw whether sap ran.
func (p *Pages) seenDays(r *http.Request, v *view, past *forecast.Past, from time.Time) (map[string]bool, error) {
	stored, err := p.Intake.Archive.Observations(r.Context(), v.Site.ID, from, v.Site.Zone)
	if err != nil {
		return nil, err
	}
	observed := make([]records.Observation, len(stored))
	for i := range stored {
		observed[i] = stored[i].Observation
	}
	list, err := p.Messages.Verdicts(r.Context(), v.Site.ID, from)
	if err != nil {
		return nil, err
	}
	var visits []forecast.PastVisit
	if past != nil {
		visits = past.Visits
	}
	return verify.SeenDays(visits, v.taps, observed, alerts.RanAnswers(list, v.Site.Zone), v.Site.Zone), nil
}

// taps are those of a group, 0 for one that is not known.
func (v *view) taps(group string) int {
	for i := range v.Site.Groups {
		if g := &v.Site.Groups[i]; g.ID == group {
			return g.Taps
		}
	}
	return 0
}

// skillOf holds evenings against what was gathered, and against what people saw of each
// day: never against what was worked out from the weather, which would judge itself.
func skillOf(v *view, past *forecast.Past, evenings []forecast.Evening, seen map[string]bool) *skillBody {
	var visits []forecast.PastVisit
	if past != nil {
		visits = past.Visits
	}
	var days []forecast.PastDay
	for date, ran := range seen {
		days = append(days, forecast.PastDay{Date: date, Known: true, Ran: ran})
	}
	share := func(group string) float64 { return float64(v.taps(group)) / float64(v.Site.Taps()) }
	s := verify.Evenings(evenings, days, visits, share, v.Site.Zone)
	s.Visits = verify.Measured(s.Visits, visits, v.Site.Zone)
	b := &skillBody{Nobody: v.T("skill_nobody"), Evenings: v.evenings(evenings, seen)}
	if s.N > 0 {
		b.Right, b.Nobody = v.N("skill_right", s.N, "Right", s.Right), ""
		b.Reliability, b.Last = v.reliability(s.Bins), v.lastEvenings(s.Last)
	}
	for _, c := range s.Chances {
		if c.Count > 0 {
			b.Chances = append(b.Chances, v.N("skill_chance", c.Count, "From", c.FromPct, "To", c.ToPct, "Ran", c.Ran))
		}
	}
	if len(s.Visits) > 0 {
		within := 0
		for _, one := range s.Visits {
			if one.P10 <= one.ObservedL && one.ObservedL <= one.P90 {
				within++
			}
		}
		b.Within = v.N("skill_within", len(s.Visits), "Within", within)
		b.Visits = v.foretold(s.Visits)
	}
	return b
}

// evenings lays out, by months and weeks, the days of which evenings spoke, with whether
// they were right about them.
func (v *view) evenings(list []forecast.Evening, seen map[string]bool) []month {
	var out []month
	before := ""
	for i := range list {
		if len(list[i].Days) == 0 || list[i].Days[0].Date <= before {
			continue
		}
		d := &list[i].Days[0]
		before = d.Date
		date, err := time.ParseInLocation(time.DateOnly, d.Date, v.Site.Zone)
		if err != nil {
			continue
		}
		said := d.RunProbability >= 0.5
		ran, known := seen[d.Date]
		cell := day{Mark: markUnseen}
		judged := "skill_day_unseen"
		switch {
		case known && said && ran:
			cell.Mark, judged = markRun, "skill_day_ran"
		case known && !said && !ran:
			cell.Mark, judged = markNone, "skill_day_none"
		case known && said:
			cell.Mark, judged = markFalse, "skill_day_false"
		case known:
			cell.Mark, judged = markMissed, "skill_day_missed"
		}
		cell.Aloud = v.Day(date) + ": " + v.T(judged)
		cell.Href = v.At("/flow?from=" + date.AddDate(0, 0, -1).Format(time.DateOnly) + "&days=3")
		out = v.lay(out, date, cell)
	}
	return out
}

func (v *view) reliability(bins []verify.Bin) *picture {
	l := &chart.SkillLabels{Title: v.T("chart_reliability"), Line: v.T("chart_reliability_line"), Axis: v.T("chart_reliability_axis"),
		Foot: v.T("chart_reliability_foot"),
		Bin: func(b verify.Bin) string {
			return v.T("chart_reliability_bin", "Said", percent(b.MeanProbability), "Ran", percent(b.Frequency), "N", b.Count)
		}}
	rows := [][]string{{v.T("skill_col_said"), v.T("skill_col_ran"), v.T("skill_col_count")}}
	for _, b := range bins {
		rows = append(rows, []string{percent(b.MeanProbability) + "\u00a0%", percent(b.Frequency) + "\u00a0%", fmt.Sprint(b.Count)})
	}
	return v.framed("chances", rows, func(s chart.Size) chart.Picture { return chart.Reliability(bins, l, s) })
}

func (v *view) foretold(visits []verify.SapVisit) *picture {
	number := func(l float64) string { n, _ := v.words.Volume(l); return n }
	day := func(date string) string {
		t, err := time.Parse(time.DateOnly, date)
		if err != nil {
			return date
		}
		return v.words.Date(t)
	}
	l := &chart.SkillLabels{Title: v.T("chart_visits"), Line: v.T("chart_visits_line"), Axis: v.T("chart_visits_axis"), Unit: v.Unit(),
		Date: day, Number: v.words.Number,
		Volume: func(l float64) float64 { x, _ := units.VolumeIn(l, v.system); return x },
		Visit: func(one verify.SapVisit) string {
			return v.T("chart_visits_one", "Date", day(one.Date)+" "+v.groupName(one.Group), "Volume", number(one.ObservedL), "Mid",
				number(one.P50), "Low", number(one.P10), "High", number(one.P90), "Unit", v.Unit())
		}}
	rows := [][]string{{v.T("records_when"), v.T("records_group"), v.T("col_collected", "Unit", v.Unit()),
		v.T("skill_col_foretold", "Unit", v.Unit())}}
	for _, one := range visits {
		rows = append(rows, []string{day(one.Date), v.groupName(one.Group), number(one.ObservedL),
			number(one.P50) + " (" + number(one.P10) + "–" + number(one.P90) + ")"})
	}
	return v.framed("visits", rows, func(s chart.Size) chart.Picture { return chart.Visits(visits, l, s) })
}

// lastEvenings are those of which somebody saw the next day, the newest first.
func (v *view) lastEvenings(last []verify.EveningRow) [][]string {
	const most = 14
	number := func(l float64) string { n, _ := v.words.Volume(l); return n }
	rows := [][]string{{v.T("skill_evening"), v.T("skill_for"), v.T("skill_came")}}
	for _, e := range last {
		if len(rows) > most {
			break
		}
		if !e.Known {
			continue
		}
		came := v.T("skill_ran_not")
		if e.Ran {
			came = v.T("skill_ran")
		}
		rows = append(rows, []string{v.dateOf(e.Evening), units.Chance(e.Probability) + ", " + number(e.VolumeL.P50) + " (" +
			number(e.VolumeL.P10) + "–" + number(e.VolumeL.P90) + ") " + v.Unit(), came})
	}
	return rows
}
