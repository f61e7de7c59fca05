package web

import (
	"fmt"
	"net/http"
	"strconv"
	"time"

	"thawline/alerts/message/sections"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/boil"
	"thawline/forecast/units"
)

type boilBody struct {
	Answer, Under   string // when the next fire is, and what it boils
	Stock, Care     []sections.Section
	Spoilt          bool            // some of the stock has gone bad
	Notes           []sections.Line // what there is to mind about the fires
	Hours           [][]string
	Days            [][]string
	Sugar, Teaching [][]string
	Stages          [][]string // of sugar making, tomorrow
	Tomorrow        string     // where syrup draws off
	BrixNotMeasured bool
	Book            []bookLine  // of the sugarhouse, the newest first
	May             bool        // write in it
	Wrote           bool        // in it, just now
	Pans            [][2]string // that a boil may have been in, by id and name
}

// boil is the fire: how long, how much wood, where syrup draws off, and which hours
// are dry enough to stir sugar.
func (p *Pages) boil(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/boil")
	if v == nil {
		return
	}
	if o := p.current(r.Context(), v); o != nil {
		b := boilOf(v, o)
		var err error
		if b.Book, err = p.book(r, v); err != nil {
			p.failed(w, r, err)
			return
		}
		b.May, b.Wrote, v.Body = v.May("crew"), v.Notice != "", b
	}
	p.send(w, r, http.StatusOK, "boil", v)
}

func boilOf(v *view, o *forecast.Outlook) *boilBody {
	parts := sections.OfBoiling(o, v.words, v.system)
	b := &boilBody{Stock: named(parts, sections.InStock), Care: named(parts, sections.Care),
		Notes: sections.FireNotes(o, v.words, v.system)}
	b.Answer, b.Under = sections.FireAnswer(o, v.words, v.system)
	for _, id := range v.Site.Boiling.PanIDs() {
		b.Pans = append(b.Pans, [2]string{id, intake.PanName(v.words, id)})
	}
	for i := range o.Stock.Sap {
		b.Spoilt = b.Spoilt || o.Stock.Sap[i].Spoilt
	}
	fine := func(c float64) string { return v.words.Number(units.FineTemperature(c, v.system)) }
	for i := range o.Boil {
		d := &o.Boil[i]
		if len(o.Days) > 1 && d.Date == o.Days[1].Date {
			b.tomorrow(v, d)
			for j, h := range d.ByHour {
				if j%3 == 0 {
					b.Hours = append(b.Hours, []string{v.words.Clock(h.Time), fine(h.DrawOffC), fine(h.BoilingPointC)})
				}
			}
		}
		b.BrixNotMeasured = b.BrixNotMeasured || d.Start != nil && !d.BrixMeasured
	}
	b.Days = v.fires(o)
	b.Sugar = [][]string{{v.T("col_day"), v.T("sugar_hours"), v.T("sugar_chance"), v.T("sugar_air"), v.T("sugar_fit")}}
	for i := range o.Sugar {
		s := &o.Sugar[i]
		if i < 7 {
			b.Sugar = append(b.Sugar, []string{v.dateOf(s.Date),
				v.T("sugar_span", "Start", v.words.Clock(s.From), "End", v.words.Clock(s.To)),
				v.T("sugar_in_ten", "InTen", units.InTen(s.Chance)), fmt.Sprintf("%.0f\u00a0%%", s.HumidityPct),
				v.T("grade_" + string(s.Grade))})
		}
	}
	b.Teaching = [][]string{{v.T("col_day"), v.T("learners_why")}}
	for i := range o.Teaching {
		t := &o.Teaching[i]
		if i == 5 || t.Score == 0 {
			break
		}
		why := v.T("learners_run", "Chance", units.Chance(t.RunProbability))
		if t.Boil {
			why += ", " + v.T("learners_boil")
		}
		if t.Rain {
			why += ", " + v.T("learners_rain")
		}
		why += ", " + v.T("learners_feels", "Degrees", units.Temperature(t.FeelsC, v.system))
		b.Teaching = append(b.Teaching, []string{v.dateOf(t.Date), why})
	}
	return b
}

// fires are the days of the coming week with what is boiled on each, under their heads.
func (v *view) fires(o *forecast.Outlook) [][]string {
	const week = 7
	number := func(l float64) string { n, _ := v.words.Volume(l); return n }
	rough := func(l float64) string { n, _ := v.words.WorkVolume(l); return n } // as coarsely as what is carried in
	fuel := v.T("boil_wood")
	rows := [][]string{{v.T("col_day"), v.T("boil_fire"), v.T("boil_sap"), v.T("boil_syrup"), fuel, v.T("boil_left"), v.T("boil_draw_off")}}
	for i := range o.Boil[:min(week, len(o.Boil))] {
		d := &o.Boil[i]
		if i == 0 && d.Start == nil && d.LeftL < 0.5 { // today's work is done
			continue
		}
		row := []string{v.numberedDay(d.Date), "–", "–", "–", "–", rough(d.LeftL), "–"}
		if d.Start != nil && d.Batch != nil {
			row[1], row[2], row[3] = v.words.Clock(*d.Start)+"–"+v.words.Clock(v.words.Deadline(*d.End)), rough(d.SapL), number(d.SyrupL)
			row[4] = v.words.Number(strconv.FormatFloat(d.Batch.WoodCords, 'f', 2, 64))
			if d.Batch.GasL > 0 {
				rows[0][4], row[4] = v.T("boil_gas"), number(d.Batch.GasL)
			}
		}
		switch {
		case d.PressureKnown:
			row[6] = v.words.Number(units.FineTemperature(d.DrawOffC, v.system))
		case d.HeightKnown:
			row[6] = "≈ " + units.Temperature(d.DrawOffC, v.system)
		}
		rows = append(rows, row)
	}
	return rows
}

// numberedDay is a weekday, shortened, with the day of its month.
func (v *view) numberedDay(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return v.words.ShortWeekday(t) + " " + strconv.Itoa(t.Day())
}

// tomorrow says where syrup draws off and sugar is done, as well as it can be known.
func (b *boilBody) tomorrow(v *view, d *forecast.BoilDay) {
	fine := func(c float64) string { return v.words.Number(units.FineTemperature(c, v.system)) }
	whole := func(c float64) string { return units.Temperature(c, v.system) }
	switch {
	case d.PressureKnown:
		b.Tomorrow = v.T("boil_tomorrow", "DrawOff", fine(d.DrawOffC), "Water", fine(d.BoilingPointC))
	case d.HeightKnown:
		b.Tomorrow = v.T("boil_tomorrow_by_height", "DrawOff", whole(d.DrawOffC), "Water", whole(d.BoilingPointC))
	default:
		b.Tomorrow = v.T("work_drawoff_unknown")
		return
	}
	b.Stages = [][]string{{v.T("stage"), v.T("stage_at")}}
	for _, s := range boil.Stages {
		low, high := s.AtC(d.BoilingPointC)
		b.Stages = append(b.Stages, []string{v.T("stage_" + s.Name), whole(low) + "–" + whole(high)})
	}
}

// dateOf writes a day of the outlook in the reader's words.
func (v *view) dateOf(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return v.ShortDay(t)
}
