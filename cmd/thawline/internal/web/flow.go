package web

import (
	"bytes"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"thawline/alerts/message/sections"
	"thawline/forecast"
	"thawline/forecast/chart"
)

type flowBody struct {
	From          string
	Spans         []link
	Before, After string
	Years         []link
	Zoom, Others  []link // each day by itself, other years beside
	Back          *link  // from one day to those around it
	Other         int    // the year that is laid below, 0 for none
	Picture       *picture
	PNG, CSV      string
	Visits        [][]string
	Days          []sections.Section // to come, where the picture shows some
}

// stretch is the part of the past and the future that is looked at.
type stretch struct {
	from, to time.Time
	days     int
	season   int // the whole of it, 0 for days
	ahead    bool
}

// readStretch reads from and days, or season; without them it is the outlook's
// own stretch, three days back and a week ahead.
func (p *Pages) readStretch(q url.Values, zone *time.Location) stretch {
	now := p.Now().In(zone)
	today := time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, zone)
	if year, err := strconv.Atoi(q.Get("season")); err == nil && year > 1900 && year <= now.Year()+1 {
		from, to := p.seasonSpan(year, zone)
		return stretch{from: from, to: to, season: year}
	}
	s := stretch{from: today.AddDate(0, 0, -3), days: 10}
	if n, err := strconv.Atoi(q.Get("days")); err == nil && n >= 1 && n <= 240 {
		s.days = n
	}
	if from, err := time.ParseInLocation(time.DateOnly, q.Get("from"), zone); err == nil && from.Year() > 1900 &&
		from.Before(now.AddDate(0, 1, 0)) {
		s.from = from
	}
	s.to = s.from.AddDate(0, 0, s.days)
	s.ahead = s.to.After(now)
	return s
}

// flow is flow against weather, of any day or season.
func (p *Pages) flow(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/flow")
	if v == nil {
		return
	}
	s := p.readStretch(r.URL.Query(), v.Site.Zone)
	hours, past, ahead, err := p.hoursOf(r, v, s)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	at := func(from time.Time) string {
		return v.At("/flow?from=" + from.Format(time.DateOnly) + "&days=" + strconv.Itoa(s.days))
	}
	b := &flowBody{From: s.from.Format(time.DateOnly)}
	for _, n := range []int{1, 3, 10, 30, 90} {
		b.Spans = append(b.Spans, link{Href: strconv.Itoa(n), Text: v.T("span_" + strconv.Itoa(n)), Here: n == s.days})
	}
	if s.season == 0 {
		b.Before = at(s.from.AddDate(0, 0, -s.days))
		if s.to.Before(p.Now().AddDate(0, 0, 7)) {
			b.After = at(s.from.AddDate(0, 0, s.days))
		}
	}
	years, err := p.years(r.Context(), v.Site)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	for _, y := range years {
		b.Years = append(b.Years, link{Href: v.At("/flow?season=" + strconv.Itoa(y)), Text: strconv.Itoa(y), Here: y == s.season})
	}
	if hours != nil {
		other, beside, err := p.otherYear(r, v, s, hours)
		if err != nil {
			p.failed(w, r, err)
			return
		}
		b.Other = other
		draw := func() *picture {
			marks := marksOf(v, past, s.from, s.to)
			return v.framed("flow", chart.FlowRows(hours, marks, v.words.ChartLabels(v.Site.Name)), v.flowPicture(hours, marks, beside, true))
		}
		if past == nil || other != 0 { // what these are of has no mark here
			b.Picture = draw()
		} else { // past is another one when its records, its weather or the bush change
			b.Picture = p.drawn.once(v, "flow "+v.Site.ID+" "+s.hours(), []any{past, ahead, v.catalogue}, draw)
		}
		b.PNG, b.CSV = v.At("/flow.png?"+r.URL.RawQuery), v.At("/flow.csv?"+r.URL.RawQuery)
		b.zoom(v, s, years)
		if b.Zoom != nil || b.Back != nil {
			b.Picture.Hint += " " + v.T("flow_hint_zoom")
		}
	}
	b.Visits = visitRows(v, past, s.from, s.to)
	if o := p.current(r.Context(), v); o != nil && o.Season.Closed == nil && s.ahead && s.season == 0 {
		b.Days = named(sections.Of(o, v.words, v.system), sections.Days)
	}
	v.Body = b
	p.send(w, r, http.StatusOK, "flow", v)
}

// flowPNG is the same picture for those who keep or send it.
func (p *Pages) flowPNG(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/flow")
	if v == nil {
		return
	}
	s := p.readStretch(r.URL.Query(), v.Site.Zone)
	hours, past, _, err := p.hoursOf(r, v, s)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	if hours == nil {
		p.fault(w, r, http.StatusNotFound, "flow_none")
		return
	}
	_, beside, err := p.otherYear(r, v, s, hours)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	pixels, err := v.flowPicture(hours, marksOf(v, past, s.from, s.to), beside, false)(chart.Wide).PNG()
	if err != nil {
		p.failed(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "image/png")
	w.Header().Set("Cache-Control", "private, max-age=300")
	_, _ = bytes.NewReader(pixels).WriteTo(w)
}

// hours are the hours that are looked at.
func (s *stretch) hours() string {
	return s.from.UTC().Format("2006010215") + " " + s.to.UTC().Format("2006010215")
}

// hoursOf joins what was with what is to come; nil where nothing is known. next is the
// first flow of the outlook that is in it: another one for another outlook, nil for none.
func (p *Pages) hoursOf(r *http.Request, v *view, s stretch) (joined *forecast.Hours, past *forecast.Past, next *float64, err error) {
	year := s.season
	if year == 0 {
		year = seasonYear(s.from, v.Site.Zone)
	}
	past, err = p.seasonOf(r.Context(), v.Site, year)
	if err != nil {
		return nil, nil, nil, err
	}
	var ahead *forecast.Hours
	if o := p.current(r.Context(), v); o != nil && s.to.After(p.Now()) && len(o.Hours.FlowLH.P50) > 0 {
		ahead, next = &o.Hours, &o.Hours.FlowLH.P50[0]
	}
	var before *forecast.Hours
	if past != nil {
		before = &past.Hours
	}
	both := forecast.JoinHours(before, ahead, s.from, s.to)
	if len(both.FlowLH.P50) == 0 {
		return nil, past, next, nil
	}
	return &both, past, next, nil
}
