package sections

import (
	"fmt"
	"io"
	"math"
	"slices"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/units"
)

// Sections of the review of a season.
const (
	WhyOff Name = "why_off" // why evenings were off, the worst first
	IfMore Name = "if_more" // what one thing more would have changed
)

// Reviewed is why a season's evenings were off, and what one thing more would have changed.
type Reviewed struct {
	Year   int              `json:"year"`
	Rounds int              `json:"rounds"`  // that could be held against evenings
	Missed []forecast.Miss  `json:"missed"`  // those that lay outside of what was said
	IfMore *forecast.WhatIf `json:"if_more"` // nil where nothing can be worked out
}

const worstShown = 5

// OfReview is a season's review in words.
func OfReview(r *Reviewed, site *forecast.Site, w *message.Words, system units.System) []Section {
	p := newPage(w, system)
	p.zone = site.Zone
	p.whyOff(r, site)
	p.ifMore(r.IfMore, site)
	return p.sections
}

// PrintReview writes a season's review for a terminal.
func PrintReview(out io.Writer, r *Reviewed, site *forecast.Site, w *message.Words, system units.System) error {
	return write(out, OfReview(r, site, w.Open(), system))
}

func (p *page) whyOff(r *Reviewed, site *forecast.Site) {
	if r.Rounds == 0 {
		p.head(WhyOff, p.say("review_none", map[string]any{"Year": fmt.Sprint(r.Year)}))
		return
	}
	values := map[string]any{"Year": fmt.Sprint(r.Year), "Missed": len(r.Missed)}
	p.head(WhyOff, p.w.PluralWith("review_head", r.Rounds, values))
	if len(r.Missed) == 0 {
		return
	}
	count := map[forecast.Cause]int{}
	for i := range r.Missed {
		count[r.Missed[i].Largest()]++
	}
	for _, c := range forecast.Causes() {
		if count[c] > 0 {
			p.item(p.w.Plural("review_cause_"+string(c), count[c]))
		}
	}
	worst := slices.Clone(r.Missed)
	off := func(m *forecast.Miss) float64 { return math.Abs(m.CameL - m.ToldL) }
	slices.SortStableFunc(worst, func(a, b forecast.Miss) int {
		switch d := off(&b) - off(&a); {
		case d > 0:
			return 1
		case d < 0:
			return -1
		}
		return 0
	})
	p.head(WhyOff, p.say("review_worst", nil))
	unit := p.w.VolumeUnit()
	rows := [][]Cell{texts(p.say("review_round", nil), p.say("review_told", map[string]any{"Unit": unit}),
		p.say("review_came", map[string]any{"Unit": unit}))}
	for _, c := range forecast.Causes() {
		rows[0] = append(rows[0], Cell{Text: p.say("review_col_"+string(c), nil)})
	}
	for i := range worst[:min(worstShown, len(worst))] {
		m := &worst[i]
		row := texts(p.roundName(m, site), p.litre(m.ToldL), p.litre(m.CameL))
		for _, c := range forecast.Causes() {
			row = append(row, Cell{Text: p.signed(m.Parts[c])})
		}
		rows = append(rows, row)
		key := "review_one_" + string(m.Largest())
		if m.Largest() == forecast.ByHabit && m.Parts[forecast.ByHabit] > 0 {
			key = "review_one_habit_more"
		}
		p.item(p.say(key, map[string]any{"Round": row[0].Text, "Told": row[1].Text, "Came": row[2].Text, "Unit": unit,
			"Part": p.signed(m.Parts[m.Largest()])}))
	}
	p.last().Rows = rows
	p.plain(p.say("review_means", nil))
}

func (p *page) roundName(m *forecast.Miss, site *forecast.Site) string {
	return p.w.Date(m.At.In(p.zone)) + ", " + p.roundGroup(m.Group, site)
}

// roundGroup is the name of a site's group.
func (p *page) roundGroup(id string, site *forecast.Site) string {
	for i := range site.Groups {
		if g := &site.Groups[i]; g.ID == id && g.Name != "" {
			return g.Name
		}
	}
	return id
}

// litre is a volume in the reader's unit, without its name.
func (p *page) litre(litres float64) string { n, _ := p.w.Volume(litres); return n }

func (p *page) signed(litres float64) string {
	n := p.litre(math.Abs(litres))
	switch {
	case n == p.litre(0):
		return n
	case litres < 0:
		return "\u2212" + n
	}
	return "+" + n
}

// ifMore says what one thing more would have changed.
func (p *page) ifMore(m *forecast.WhatIf, site *forecast.Site) {
	if m == nil {
		return
	}
	unit := p.w.VolumeUnit()
	p.head(IfMore, p.say("if_more", nil))
	p.plain(p.say("if_as_was", map[string]any{"Sap": p.rough(m.SapL), "Lost": p.rough(m.LossL), "Unit": unit}))
	if t := m.Tank; t != nil {
		values := map[string]any{"Saves": p.rough(t.SavesL), "Unit": unit, "Tank": p.litre(t.VolumeL)}
		key, hardly := "if_tank_carried", "if_tank_carried_little"
		if t.Group != "" {
			key, hardly, values["Group"] = "if_tank", "if_tank_little", p.roundGroup(t.Group, site)
		}
		if little(t.SavesL, m) {
			key = hardly
		}
		p.item(p.say(key, values))
	}
	key := "if_helper"
	switch {
	case little(m.Helper.PlanLossL, m):
		key = "if_helper_nothing"
	case little(m.Helper.SavesL, m):
		key = "if_helper_little"
	}
	p.item(p.say(key, map[string]any{"Saves": p.rough(m.Helper.SavesL), "Lost": p.rough(m.Helper.PlanLossL), "Unit": unit}))
	if e := m.Earlier; e != nil {
		key := "if_earlier"
		switch {
		case little(math.Abs(e.GainL), m):
			key = "if_earlier_same"
		case e.GainL < 0:
			key = "if_earlier_less"
		}
		p.item(p.say(key, map[string]any{"Gain": p.rough(math.Abs(e.GainL)), "Unit": unit}))
	}
	p.plain(p.say("if_means", nil))
}

// little reports whether litres are hardly anything of a season's sap.
func little(litres float64, m *forecast.WhatIf) bool { return litres < 0.005*m.SapL }
