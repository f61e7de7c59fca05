package message

import (
	"time"

	"thawline/forecast"
	"thawline/forecast/weather"
)

// dangerText says what danger comes before the next evening, where sap hangs: what it is,
// in the words of who warns of it, until when one can go, and what is lost if nobody does.
// The forms grow shorter; all are "" without danger.
func (w *Words) dangerText(o *forecast.Outlook) (forms [3]string) {
	d := nextDanger(o)
	if d == nil || !hangsOrComes(o) {
		return forms
	}
	return w.dangerForms(o, d)
}

// dangerForms are the words for one danger.
func (w *Words) dangerForms(o *forecast.Outlook, d *forecast.Danger) (forms [3]string) {
	by, lossL := goBefore(o, d)
	loss, unit := w.RoughVolume(lossL)
	values := map[string]any{"From": w.when(o.IssuedAt, d.From), "To": w.when(o.IssuedAt, d.To), "Volume": loss, "Unit": unit}
	say := func(key string, longest int) string {
		values["What"] = w.danger(o, d, longest)
		return w.Say(key, values)
	}
	key, lost := "text_danger_leave", "text_danger_leave_loss"
	switch {
	case !by.IsZero() && by.Format(time.DateOnly) == d.From.Format(time.DateOnly):
		key, lost, values["By"] = "text_danger_go", "text_danger_go_loss", w.Clock(by)
	case !by.IsZero():
		key, lost, values["By"] = "text_danger_go", "text_danger_go_loss", w.when(o.IssuedAt, by)
	case d.From.After(o.IssuedAt):
		key, lost = "text_danger_stay", "text_danger_stay_loss"
		// "Tomorrow midnight" is taken for the one that ends tomorrow.
		if d.To.Add(-time.Hour).Format(time.DateOnly) == d.From.Format(time.DateOnly) {
			values["To"] = w.Clock(d.To)
		}
		amid, after := roundsOf(o, d)
		switch little := lossL < littleL || loss == "0"; {
		case amid:
			key, lost = "text_danger_promised", "text_danger_promised"
		case after:
			key, lost = "text_danger_between", "text_danger_between"
		case little:
			return [3]string{say("text_danger_between", 60), say("text_danger_between", 30), say(key, 24)}
		}
	}
	if lossL < littleL || loss == "0" {
		lost = key
	}
	return [3]string{say(lost, 60), say(lost, 30), say(key, 24)}
}

// danger names a danger: an official warning by its own event and issuer.
func (w *Words) danger(o *forecast.Outlook, d *forecast.Danger, longest int) string {
	if warning, found := o.Warnings.Warning(d.Warning); found {
		return w.Say("text_danger_by", map[string]any{"Event": w.each(
			func(one *Words) string { return shorten(one.quoted(warning.Event), longest) }), "Issuer": w.quoted(warning.Issuer)})
	}
	if d.What == forecast.DangerWarning { // its words are not there any more
		return w.Say("danger_"+string(forecast.DangerWarning), nil)
	}
	return w.Say("danger_"+string(d.What), nil)
}

// quoted is what an issuer has said, in the reader's language where the issuer speaks it.
func (w *Words) quoted(in weather.Quoted) string {
	return w.each(func(one *Words) string {
		tag := one.tongues[0].tag
		if _, has := in[tag]; one.alone && one.tongues[0].file && !has {
			return lacking
		}
		return in.In(tag)
	})
}

// when is a moment as a text names it; midnight belongs to the day that it ends, as people take it.
func (w *Words) when(now, at time.Time) string {
	of := w.Deadline(at)
	return w.Say("text_when_"+dayWord(now, of), map[string]any{"Time": w.Clock(at), "Day": w.Weekday(of)})
}

// nextDanger is what comes before the next evening, an official warning before what the
// forecast itself sees; nil for nothing.
func nextDanger(o *forecast.Outlook) *forecast.Danger {
	until := o.Work.Until
	if until.IsZero() {
		until = o.IssuedAt.Add(24 * time.Hour)
	}
	var next *forecast.Danger
	for i := range o.Work.Dangers {
		d := &o.Work.Dangers[i]
		if !d.From.Before(until) || !d.To.After(o.IssuedAt) {
			continue
		}
		if next == nil || next.What != forecast.DangerWarning && d.What == forecast.DangerWarning {
			next = d
		}
	}
	return next
}

// hangsOrComes reports whether there is sap that somebody might go out for.
func hangsOrComes(o *forecast.Outlook) bool {
	held := 0.0
	for i := range o.Work.Groups {
		g := &o.Work.Groups[i]
		held += g.HeldL.P50
		if g.Decision == forecast.Gather || g.Why != "" {
			return true
		}
	}
	return held >= littleL
}

// roundsOf reports whether a round before the next evening leads into a danger, as only one
// does that somebody has promised, and whether one begins after it.
func roundsOf(o *forecast.Outlook, d *forecast.Danger) (amid, after bool) {
	for i := range o.Work.Rounds {
		r := &o.Work.Rounds[i]
		if !o.Work.Until.IsZero() && !r.Start.Before(o.Work.Until) {
			continue
		}
		amid = amid || r.Start.Before(d.To) && r.End.After(d.From)
		after = after || !r.Start.Before(d.To)
	}
	return amid, after
}

// goBefore is until when a round that is planned before a danger can start, zero where
// none is, and what is lost if nobody goes.
func goBefore(o *forecast.Outlook, d *forecast.Danger) (by time.Time, lossL float64) {
	for i := range o.Work.Groups {
		g := &o.Work.Groups[i]
		if g.Decision != forecast.Gather || !g.GoAt.Before(d.From) {
			continue
		}
		latest := *g.GoAt
		if g.Latest != nil && g.Latest.After(latest) {
			latest = *g.Latest
		}
		if latest.After(d.From) {
			latest = d.From
		}
		if by.IsZero() || latest.Before(by) {
			by = latest
		}
		lossL += g.LossAvoidedL
	}
	if by.IsZero() {
		for i := range o.Work.Dangers {
			if one := &o.Work.Dangers[i]; one.From.Before(d.To) && one.To.After(d.From) {
				lossL += one.LossL
			}
		}
	}
	return by, lossL
}

// unknownWarnings says that nobody knows of official warnings, "" where they are known or
// nobody is asked for them.
func (w *Words) unknownWarnings(o *forecast.Outlook) string {
	if o.Warnings.State != weather.WarningsUnknown {
		return ""
	}
	return w.Say("text_warnings_unknown", nil)
}
