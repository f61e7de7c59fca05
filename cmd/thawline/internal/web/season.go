package web

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"time"

	"thawline/alerts/message"
	"thawline/alerts/message/sections"
	"thawline/forecast"
)

type seasonBody struct {
	Answer, Under string        // what there is to know, "" out of season
	Observed      *observedBody // nil where nobody can have tasted sap
	Taps          []sections.Section
	Stage         []sections.Section
	Yields        []sections.Section
	Picture       *picture
	Ahead         bool // the picture shows what is to come
	Years         []link
	Months        []month
	Neighbours    []neighbourRow
}

type month struct {
	Name  string
	Weeks [][7]day
}

// day is one day of the calendar; Day 0 stands for none.
type day struct {
	Day              int
	Level            int // 0 to 4, by how much sap
	Ahead            bool
	Sap, Aloud, Href string
	Mark             mark // of an evening that was held against its day
}

// season shows where the season stands, beside other years.
func (p *Pages) season(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/season")
	if v == nil {
		return
	}
	b := &seasonBody{}
	made := p.Outlooks.Outlook(r.Context(), v.Site.ID)
	o := made
	if o != nil {
		shown := *o
		v.isolateGroups(&shown.Bush)
		o = &shown
		parts := sections.OfSeason(o, v.words, v.system)
		b.Stage, b.Yields = named(parts, sections.Stage), named(parts, sections.Yields)
		for _, name := range []sections.Name{sections.TapNow, sections.TapsIn, sections.Boring} {
			b.Taps = append(b.Taps, named(parts, name)...)
		}
		b.Answer, b.Under = sections.SeasonAnswer(o, v.words)
	}
	if o != nil && o.Season.Tapped && o.Season.Closed == nil {
		var err error
		if b.Observed, err = p.observed(r, v); err != nil {
			p.failed(w, r, err)
			return
		}
	}
	years, err := p.years(r.Context(), v.Site)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	this := seasonYear(p.Now(), v.Site.Zone)
	shown := this
	if asked, err := strconv.Atoi(r.URL.Query().Get("season")); err == nil {
		shown = asked
	}
	past, marks, err := p.daysOf(r.Context(), v.Site, years)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	for _, y := range years {
		b.Years = append(b.Years, link{Href: v.At("/season?season=" + strconv.Itoa(y)), Text: strconv.Itoa(y), Here: y == shown})
	}
	draw := func() *picture { return p.sums(v, o, shown, years, past) }
	if b.Ahead = shown == this && o != nil && o.Season.Sap != nil; b.Ahead {
		draw = func() *picture { return p.seasonAhead(v, o, years, past) }
		b.Neighbours = p.neighbours(r.Context(), v)
	}
	today := p.Now().In(v.Site.Zone).Format(time.DateOnly)
	b.Picture = p.drawn.once(v, fmt.Sprintf("season %s %d %s %s", v.Site.ID, shown, today, marks), []any{made, v.catalogue}, draw)
	b.Months = p.calendar(v, o, shown == this, past[shown])
	v.Body = b
	p.send(w, r, http.StatusOK, "season", v)
}

// calendar lays a season's days out by months and weeks.
func (p *Pages) calendar(v *view, o *forecast.Outlook, current bool, past *forecast.Past) []month {
	type one struct {
		date  time.Time
		litre float64
		ahead bool
	}
	var days []one
	seen := map[string]bool{}
	add := func(date string, litres float64, ahead bool) {
		if t, err := time.ParseInLocation(time.DateOnly, date, v.Site.Zone); err == nil && !seen[date] {
			seen[date] = true
			days = append(days, one{t, litres, ahead})
		}
	}
	today := p.Now().In(v.Site.Zone).Format(time.DateOnly)
	if past != nil {
		for _, d := range past.Days {
			if d.Known && (!current || d.Date < today) {
				add(d.Date, d.SapL.P50, false)
			}
		}
	}
	if current && o != nil && o.Season.Closed == nil {
		for i := range o.Days {
			add(o.Days[i].Date, o.Days[i].VolumeL.P50, true)
		}
	}
	strong := 4.0 * float64(v.Site.Taps()) // litres of a strong day (common practice: a gallon a tap)
	var out []month
	for _, d := range days {
		if d.date.Month() > time.June || len(out) == 0 && d.litre < 0.02*strong && !d.ahead {
			continue // before the first sap
		}
		level := 0
		for _, share := range []float64{0.05, 0.2, 0.45, 0.75} {
			if d.litre >= share*strong {
				level++
			}
		}
		n, unit := v.words.Volume(d.litre)
		cell := day{Level: level, Ahead: d.ahead, Sap: n,
			Href:  v.At("/flow?from=" + d.date.AddDate(0, 0, -1).Format(time.DateOnly) + "&days=3"),
			Aloud: v.T("season_day_aloud", "Date", v.words.Date(d.date), "Volume", n, "Unit", unit)}
		if d.litre < 0.5 {
			cell.Sap = "·"
		}
		out = v.lay(out, d.date, cell)
	}
	return out
}

// lay puts the cell of a day that is later than those before into its month and week.
func (v *view) lay(months []month, date time.Time, cell day) []month {
	name := v.T("month_long_"+strconv.Itoa(int(date.Month()))) + " " + strconv.Itoa(date.Year())
	if len(months) == 0 || months[len(months)-1].Name != name {
		months = append(months, month{Name: name})
	}
	m := &months[len(months)-1]
	column := (int(date.Weekday()) + 6) % 7 // Monday first, as ISO 8601 has it
	if v.SundayFirst() {
		column = int(date.Weekday())
	}
	// A day after one further to the right, or in its place, begins a week; so does one
	// more than a week later.
	if len(m.Weeks) == 0 || slices.ContainsFunc(m.Weeks[len(m.Weeks)-1][column:], func(d day) bool { return d.Day != 0 }) ||
		slices.ContainsFunc(m.Weeks[len(m.Weeks)-1][:column], func(d day) bool { return d.Day != 0 && date.Day()-d.Day >= 7 }) {
		m.Weeks = append(m.Weeks, [7]day{})
	}
	cell.Day = date.Day()
	m.Weeks[len(m.Weeks)-1][column] = cell
	return months
}

// SundayFirst reports whether weeks begin on Sunday on the reader's calendars,
// as they do in North America.
func (v *view) SundayFirst() bool { return message.Settle(v.T("week_starts")) != "1" }

type weekdayHead struct{ Short, Long string }

// WeekdayHeads are the heads of the calendar's columns.
func (v *view) WeekdayHeads() []weekdayHead {
	var out []weekdayHead
	for i := range 7 {
		n := i
		if !v.SundayFirst() {
			n = (i + 1) % 7
		}
		long := message.Settle(v.T("weekday_" + strconv.Itoa(n)))
		short := []rune(long)
		out = append(out, weekdayHead{string(short[:min(2, len(short))]), long})
	}
	return out
}
