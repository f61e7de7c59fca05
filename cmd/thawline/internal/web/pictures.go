package web

import (
	"html/template"
	"math"
	"strconv"
	"time"

	"thawline/forecast"
	"thawline/forecast/chart"
	"thawline/forecast/weather"
)

// picture is one picture for desk and phone, with its figures as a table.
type picture struct {
	ID, Hint, Summary string
	Wide, Narrow      template.HTML
	Rows              [][]string
}

// framed puts a picture in both sizes beside its figures.
func (v *view) framed(id string, rows [][]string, draw func(chart.Size) chart.Picture) *picture {
	return &picture{ID: id, Hint: v.T("flow_hint"), Summary: v.T("flow_rows"), Rows: rows,
		Wide:   template.HTML(draw(chart.Wide).Inline(id + "-wide")),     //nolint:gosec // the picture escapes its words
		Narrow: template.HTML(draw(chart.Narrow).Inline(id + "-narrow"))} //nolint:gosec // the picture escapes its words
}

// ahead is the outlook's own picture, with the visits of its past days.
func (p *Pages) ahead(v *view, o *forecast.Outlook, past *forecast.Past) *picture {
	labels := v.words.ChartLabels(o.Bush.Name)
	labels.Untitled = true
	marks := marksOf(v, past, o.Hours.Start, o.IssuedAt)
	return v.framed("flow", chart.FlowRows(&o.Hours, marks, labels), func(s chart.Size) chart.Picture { return chart.OutlookBeside(o, marks, v.beside(), labels, s) })
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

// sums draws this season beside the others; nil where there is nothing to draw.
func (p *Pages) sums(v *view, o *forecast.Outlook, shown int, years []int, past map[int]*forecast.Past) *picture {
	var lines []chart.SeasonLine
	today := p.Now().In(v.Site.Zone).Format(time.DateOnly)
	this := seasonYear(p.Now(), v.Site.Zone)
	for _, year := range years {
		if past[year] == nil {
			continue
		}
		line := chart.SeasonLine{Year: year, Bold: year == shown}
		sum := 0.0
		add := func(date string, litres float64, known bool) {
			t, err := time.Parse(time.DateOnly, date)
			if err != nil {
				return
			}
			day := chart.SeasonDay{Date: t, SumL: math.NaN()}
			if known {
				sum += litres
				day.SumL = sum
			}
			line.Days = append(line.Days, day)
		}
		for _, d := range past[year].Days {
			if year != this || d.Date < today {
				add(d.Date, d.SapL.P50, d.Known)
			}
		}
		line.Ahead = len(line.Days)
		if year == this && o != nil && o.Season.Closed == nil {
			for i := range o.Days {
				add(o.Days[i].Date, o.Days[i].VolumeL.P50, true)
			}
		}
		lines = append(lines, line)
	}
	if len(lines) == 0 {
		return nil
	}
	labels := v.words.ChartLabels(v.Site.Name)
	labels.Title = v.T("chart_season", "Name", v.Site.Name)
	return v.framed("sums", chart.SeasonRows(lines, labels), func(s chart.Size) chart.Picture { return chart.SeasonSum(lines, labels, s) })
}

// Percent is a share in whole per cent.
func percent(share float64) string { return strconv.Itoa(int(math.Round(100 * share))) }
