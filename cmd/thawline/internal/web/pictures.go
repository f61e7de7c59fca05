package web

import (
	"html"
	"html/template"
	"math"
	"strconv"
	"strings"
	"time"

	"thawline/alerts/message/sections"
	"thawline/forecast"
	"thawline/forecast/chart"
	"thawline/forecast/season"
	"thawline/forecast/weather"
)

// picture is one picture for desk and phone, with its figures as a table.
type picture struct {
	ID, Hint, Summary string
	Wide, Narrow      template.HTML
	Figures           template.HTML // the table's rows, the head first
}

// framed puts a picture in both sizes beside its figures.
func (v *view) framed(id string, rows [][]string, draw func(chart.Size) chart.Picture) *picture {
	return &picture{ID: id, Hint: v.T("flow_hint"), Summary: v.T("flow_rows"), Figures: figures(rows),
		Wide:   template.HTML(draw(chart.Wide).Inline(id + "-wide")),     //nolint:gosec // the picture escapes its words
		Narrow: template.HTML(draw(chart.Narrow).Inline(id + "-narrow"))} //nolint:gosec // the picture escapes its words
}

// figures are the rows of a table, the first of them its head. Thirty seasons have thousands
// of cells, for which a template takes longer than for all else on the page.
func figures(rows [][]string) template.HTML {
	var b strings.Builder
	for j, row := range rows {
		b.WriteString([]string{"<thead><tr>", "<tbody><tr>", "<tr>"}[min(j, 2)])
		for k, cell := range row {
			head, end := "<td>", "</td>"
			if j == 0 {
				head, end = `<th scope="col">`, "</th>"
			} else if k == 0 {
				head, end = `<th scope="row">`, "</th>"
			}
			b.WriteString(head)
			b.WriteString(html.EscapeString(cell))
			b.WriteString(end)
		}
		b.WriteString("</tr>")
		if j == 0 {
			b.WriteString("</thead>")
		}
		b.WriteString("\n")
	}
	return template.HTML(b.String()) //nolint:gosec // each cell is escaped
}

// beside is what a picture knows of the bush itself: when it is dark there.
func (v *view) beside() chart.Beside {
	place := v.Site.Place
	return chart.Beside{Night: func(t time.Time) bool {
		return weather.SunAt(t.Add(30*time.Minute), place.LatitudeDeg, place.LongitudeDeg).ElevationDeg < 0
	}}
}

// flowPicture draws hours; within a page, which has the title, without one.
func (v *view) flowPicture(h *forecast.Hours, marks []chart.Mark, b chart.Beside, untitled bool) func(chart.Size) chart.Picture {
	labels := v.words.ChartLabels(v.Site.Name)
	labels.Untitled = untitled
	return func(s chart.Size) chart.Picture { return chart.FlowBeside(h, marks, b, labels, s) }
}

// marksOf are the visits of a stretch of time, those of one hour together.
func marksOf(v *view, past *forecast.Past, from, to time.Time) []chart.Mark {
	if past == nil {
		return nil
	}
	var out []chart.Mark
	for i := range past.Visits {
		visit := &past.Visits[i]
		if visit.At.Before(from) || !visit.At.Before(to) {
			continue
		}
		said := "–"
		if !math.IsNaN(visit.VolumeL) {
			said = v.Volume(visit.VolumeL)
		}
		words := v.T("chart_visit_mark", "When", v.Moment(visit.At.In(v.Site.Zone)), "Group", v.groupName(visit.Group), "Volume", said)
		if n := len(out); n > 0 && visit.At.Sub(out[n-1].At) < time.Hour {
			m := &out[n-1]
			m.Words += "; " + words
			if math.IsNaN(m.VolumeL) {
				m.VolumeL = visit.VolumeL
			} else if !math.IsNaN(visit.VolumeL) {
				m.VolumeL += visit.VolumeL
			}
			continue
		}
		out = append(out, chart.Mark{At: visit.At, VolumeL: visit.VolumeL, Words: words})
	}
	return out
}

func (v *view) groupName(id string) string {
	for _, g := range v.Site.Groups {
		if g.ID == id && g.Name != "" {
			return g.Name
		}
	}
	return id
}

// visitRows are the visits of a stretch beside what was to be expected, the
// newest first.
func visitRows(v *view, past *forecast.Past, from, to time.Time) [][]string {
	if past == nil {
		return nil
	}
	unit := v.Unit()
	rows := [][]string{{v.T("col_at"), v.T("col_group"), v.T("col_collected", "Unit", unit), v.T("col_expected", "Unit", unit)}}
	number := func(l float64) string { n, _ := v.words.Volume(l); return n }
	const most = 60
	for i := len(past.Visits) - 1; i >= 0; i-- {
		visit := &past.Visits[i]
		if visit.At.Before(from) || !visit.At.Before(to) || math.IsNaN(visit.VolumeL) || len(rows) > most {
			continue
		}
		expected := "–"
		if visit.Why == "" {
			e := &visit.ExpectedL
			expected = number(e.P50) + " (" + number(e.P10) + "–" + number(e.P90) + ")"
		}
		rows = append(rows, []string{v.Moment(visit.At.In(v.Site.Zone)), v.groupName(visit.Group), number(visit.VolumeL), expected})
	}
	if len(rows) == 1 {
		return nil
	}
	return rows
}

// sums draws a season beside the others; nil where there is nothing to draw.
func (p *Pages) sums(v *view, o *forecast.Outlook, shown int, years []int, past map[int]*forecast.Past) *picture {
	var lines []chart.SeasonLine
	today := p.Now().In(v.Site.Zone).Format(time.DateOnly)
	this := seasonYear(p.Now(), v.Site.Zone)
	for _, year := range years {
		if past[year] == nil {
			continue
		}
		until := "9"
		if year == this {
			until = today
		}
		line := pastLine(year, past[year], until)
		line.Bold, line.Ahead = year == shown, len(line.Days)
		if year == this && o != nil && o.Season.Closed == nil {
			for i := range o.Days {
				line.add(o.Days[i].Date, o.Days[i].VolumeL.P50, true)
			}
		}
		lines = append(lines, line.SeasonLine)
	}
	if len(lines) == 0 {
		return nil
	}
	labels := v.words.ChartLabels(v.Site.Name)
	labels.Title = v.T("chart_season", "Name", v.Site.Name)
	return v.framed("sums", chart.SeasonRows(lines, labels), func(s chart.Size) chart.Picture { return chart.SeasonSum(lines, labels, s) })
}

// summed is a season's line that is being added up.
type summed struct {
	chart.SeasonLine
	sum float64
}

func (s *summed) add(date string, litres float64, known bool) {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return
	}
	day := chart.SeasonDay{Date: t, SumL: math.NaN()}
	if known {
		s.sum += litres
		day.SumL = s.sum
	}
	s.Days = append(s.Days, day)
}

// pastLine adds up a season's sap up to a date.
func pastLine(year int, past *forecast.Past, until string) summed {
	line := summed{SeasonLine: chart.SeasonLine{Year: year}}
	for _, d := range past.Days {
		if d.Date < until {
			line.add(d.Date, d.MeanL, d.Known)
		}
	}
	return line
}

// seasonAhead draws this season as it came and may come, by the outlook, beside others.
func (p *Pages) seasonAhead(v *view, o *forecast.Outlook, years []int, past map[int]*forecast.Past) *picture {
	this := seasonYear(p.Now(), v.Site.Zone)
	of := &chart.SeasonView{Year: this, Season: &o.Season}
	for _, year := range years {
		if year == this || past[year] == nil {
			continue
		}
		line := pastLine(year, past[year], "9")
		if line.sum > 0 {
			of.Others = append(of.Others, line.SeasonLine)
			of.Heats = append(of.Heats, chart.HeatLine{Year: year, Sums: warmths(past[year], year)})
		}
	}
	labels, words := v.words.ChartLabels(v.Site.Name), sections.SeasonWords(o, v.words, v.system)
	labels.Title = v.T("chart_season", "Name", v.Site.Name)
	heads := []string{v.T("season_head_day"), v.T("season_head_sum"), v.T("season_head_low"), v.T("season_head_high"),
		v.T("season_head_good"), v.T("season_head_heat")}
	return v.framed("sums", chart.SeasonAheadRows(of, words, labels, heads),
		func(s chart.Size) chart.Picture { return chart.SeasonAhead(of, words, labels, s) })
}

// warmths are the heat sums of a past spring from February on.
func warmths(past *forecast.Past, year int) []float64 {
	days := weather.NewDaily(time.Date(year, 2, 1, 0, 0, 0, 0, time.UTC), 120)
	for _, d := range past.Days {
		if t, err := time.Parse(time.DateOnly, d.Date); err == nil && d.Known {
			if i := days.Index(t); i >= 0 && i < days.Days() {
				days.LowC[i], days.HighC[i] = d.TemperatureC.Min, d.TemperatureC.Max
			}
		}
	}
	days.FillGaps()
	return season.Warmths(&days, year)
}

// Percent is a share in whole per cent.
func percent(share float64) string { return strconv.Itoa(int(math.Round(100 * share))) }
