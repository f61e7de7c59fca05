package message

import (
	"strings"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/units"
)

// classValues are what the words about a visit of a class are filled with, beside those of
// every alert.
func (w *Words) classValues(d *alerts.Decision, o *forecast.Outlook) map[string]any {
	c := d.Facts.Class
	values := map[string]any{"Time": w.Time(d.Facts.At.In(o.IssuedAt.Location()))}
	if c == nil {
		return values
	}
	if c.Danger != "" {
		values["Danger"] = w.danger(o, &forecast.Danger{What: c.Danger, Warning: d.Facts.Warning}, 40)
	}
	return values
}

// classMore are further sentences about a visit, each in the ways in which it may be said,
// the longest first: on the last evening what is done when, then what to hold back, and what
// is likely.
func (w *Words) classMore(d *alerts.Decision, o *forecast.Outlook) (more [][]string) {
	c, zone := d.Facts.Class, o.IssuedAt.Location()
	if d.Kind != alerts.ClassVisit || c == nil {
		return nil
	}
	open := w.Open()
	say := func(key string, values map[string]any) string { return settled(open.Say(key, values)) }
	if c.Changed {
		more = append(more, []string{say("class_text_changed", nil)})
	}
	if len(c.Order) > 0 {
		steps, at := make([]string, len(c.Order)), make([]string, len(c.Order))
		for i, one := range c.Order {
			steps[i] = open.Say("class_short_"+one.What, nil)
			at[i] = open.Time(one.At.In(zone)) + " " + steps[i]
		}
		more = append(more, []string{say("class_text_by_clock", map[string]any{"Order": strings.Join(at, ", ")}),
			say("class_text_order", map[string]any{"Order": strings.Join(steps, ", ")})})
	}
	boilsSap := d.Facts.What == string(forecast.Dripping) || d.Facts.What == string(forecast.FromStock)
	volume, unit := open.Volume(c.SapL)
	switch {
	case !c.HoldFrom.IsZero():
		more = append(more, []string{say("class_text_sap_from",
			map[string]any{"Volume": volume, "Unit": unit, "Day": open.Weekday(c.HoldFrom.In(zone))})})
	case boilsSap:
		more = append(more, []string{say("class_text_sap", map[string]any{"Volume": volume, "Unit": unit})})
	}
	if c.SyrupL > 0 {
		volume, unit := open.Volume(c.SyrupL)
		more = append(more, []string{say("class_text_syrup", map[string]any{"Volume": volume, "Unit": unit})})
	}
	if c.Drips != nil {
		drips, differs := w.ClassDrips(*c.Drips, d.Facts.Date, o)
		more = append(more, []string{strings.TrimSpace(drips + " " + differs), drips})
	}
	return more
}

// ClassDrips says how likely sap drips in the hours of a visit on a local date. Where the evening's
// words for that day's run say another thing, it says in a sentence of its own what differs: drops
// to see are less than a run, and a run may come when nobody is there.
func (w *Words) ClassDrips(chance float64, date string, o *forecast.Outlook) (drips, differs string) {
	open, drops := w.Open(), "class_text_likely"
	for i := range o.Days {
		d := &o.Days[i]
		run := forecast.VerdictOf(d.RunProbability)
		switch {
		case d.Date != date || run == forecast.VerdictOf(chance):
		case chance > d.RunProbability:
			drops, differs = "class_text_drops", settled(open.Say("class_text_run_more", nil))
		case run == forecast.WillRun || run == forecast.Likely:
			drops, differs = "class_text_drops", settled(open.Say("class_text_other_hours", nil))
		}
	}
	return settled(open.Say(drops, map[string]any{"InTen": units.InTen(chance)})), differs
}
