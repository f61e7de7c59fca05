package web

import (
	"encoding/csv"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"thawline/forecast"
	"thawline/forecast/chart"
)

// longestZoomed is of how many days a stretch offers each by itself.
const longestZoomed = 14

// zoom offers each day of a stretch by itself, and the other years to lay below it.
func (b *flowBody) zoom(v *view, s stretch, years []int) {
	if s.season != 0 {
		return
	}
	with := func(from time.Time, days, other int) string {
		q := url.Values{"from": {from.Format(time.DateOnly)}, "days": {strconv.Itoa(days)}}
		if other != 0 {
			q.Set("other", strconv.Itoa(other))
		}
		return v.At("/flow?" + q.Encode())
	}
	if s.days > 1 && s.days <= longestZoomed {
		for at := s.from; at.Before(s.to); at = at.AddDate(0, 0, 1) {
			b.Zoom = append(b.Zoom, link{Href: with(at, 1, b.Other), Text: v.words.ShortWeekday(at) + " " + strconv.Itoa(at.Day())})
		}
	}
	if s.days == 1 {
		b.Back = &link{Href: with(s.from.AddDate(0, 0, -3), 10, b.Other), Text: v.T("span_10")}
	}
	for _, y := range years {
		if y != seasonYear(s.from, v.Site.Zone) && s.days <= longestZoomed {
			b.Others = append(b.Others, link{Href: with(s.from, s.days, y), Text: strconv.Itoa(y), Here: y == b.Other})
		}
	}
	if b.Other != 0 {
		b.Others = append(b.Others, link{Href: with(s.from, s.days, 0), Text: v.T("flow_other_none")})
	}
}

// otherYear is what lies beside the hours that are shown: night, and the sap of the same
// days of the year that is asked for.
func (p *Pages) otherYear(r *http.Request, v *view, s stretch, hours *forecast.Hours) (year int, b chart.Beside, err error) {
	b = v.beside()
	year, err = strconv.Atoi(r.URL.Query().Get("other"))
	if err != nil || s.season != 0 || s.days > longestZoomed {
		return 0, b, nil
	}
	years, err := p.years(r.Context(), v.Site)
	if err != nil || !slices.Contains(years, year) {
		return 0, b, err
	}
	past, err := p.seasonOf(r.Context(), v.Site, year)
	if err != nil || past == nil {
		return 0, b, err
	}
	b.OtherName = v.T("chart_other_year", "Year", year)
	back := year - seasonYear(s.from, v.Site.Zone)
	for i := range hours.FlowLH.P50 {
		at := hours.Start.Add(time.Duration(i)*time.Hour).AddDate(back, 0, 0)
		litres := math.NaN()
		if n := int(at.Sub(past.Hours.Start) / time.Hour); !at.Before(past.Hours.Start) && n < len(past.Hours.FlowLH.P50) {
			litres = past.Hours.FlowLH.P50[n]
		}
		b.OtherLH = append(b.OtherLH, litres)
	}
	return year, b, nil
}

// flowCSV is the table of what is shown, an hour a row.
func (p *Pages) flowCSV(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/flow")
	if v == nil {
		return
	}
	h, _, _, err := p.hoursOf(r, v, p.readStretch(r.URL.Query(), v.Site.Zone))
	if err != nil {
		p.failed(w, r, err)
		return
	}
	if h == nil {
		p.fault(w, r, http.StatusNotFound, "flow_none")
		return
	}
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	w.Header().Set("Content-Disposition", `attachment; filename="flow.csv"`)
	out := csv.NewWriter(w)
	_ = out.Write([]string{"time", "temperature_c_p10", "temperature_c", "temperature_c_p90", "flow_l_h_p10", "flow_l_h",
		"flow_l_h_p90", "precipitation_mm", "wood_ice", "forecast"})
	number := func(x float64) string {
		if math.IsNaN(x) {
			return ""
		}
		return strconv.FormatFloat(x, 'g', -1, 64)
	}
	t, f := &h.TemperatureC, &h.FlowLH
	for i := range f.P50 {
		_ = out.Write([]string{h.Start.Add(time.Duration(i) * time.Hour).Format(time.RFC3339), number(t.P10[i]), number(t.P50[i]),
			number(t.P90[i]),
			number(f.P10[i]), number(f.P50[i]), number(f.P90[i]), number(h.PrecipitationMM[i]), number(h.WoodIce[i]),
			strconv.FormatBool(i >= h.Now)})
	}
	out.Flush() // who has gone reads no error
}
