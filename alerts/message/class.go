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
		more = append(more, []string{say("class_text_likely", map[string]any{"InTen": units.InTen(*c.Drips)})})
	}
	return more
}
