package sections

import (
	"time"

	"thawline/forecast"
	"thawline/forecast/weather"
)

// danger quotes the official warnings with issuer, hours and a link, tells what else makes
// it dangerous to go, and says where nobody knows: that is never taken for none.
func (p *page) danger(o *forecast.Outlook) {
	w := &o.Warnings
	if len(w.List) == 0 && len(o.Work.Dangers) == 0 && w.State != weather.WarningsUnknown {
		return
	}
	p.head(Danger, p.say("report_danger", nil))
	switch {
	case w.State == weather.WarningsUnknown && w.KnownAt != nil:
		p.plain(p.say("official_unknown_since", map[string]any{"Since": p.moment(*w.KnownAt)}))
	case w.State == weather.WarningsUnknown:
		p.plain(p.say("official_unknown", nil))
	}
	for i := range w.List {
		p.official(o, &w.List[i])
	}
	for i := range o.Work.Dangers {
		if d := &o.Work.Dangers[i]; d.What != forecast.DangerWarning {
			to := p.moment(d.To)
			if d.To.Add(-time.Minute).Format(time.DateOnly) == d.From.Format(time.DateOnly) { // the day is said
				to = p.w.Clock(d.To)
			}
			p.item(p.say("danger_one", map[string]any{"What": p.say("danger_"+string(d.What), nil), "From": p.moment(d.From),
				"To": to}) + p.cost(d))
		}
	}
	for i := range o.Work.Rounds {
		if r := &o.Work.Rounds[i]; r.Pinned && o.Work.DangerOf(r) != nil {
			p.item(p.say("danger_promised", map[string]any{"When": p.moment(r.Start)}))
		}
	}
}

// roundCautions are those of the bush, and that nobody warns officially here.
func (p *page) roundCautions(o *forecast.Outlook) {
	p.cautions(o, inTheBush)
	if o.Warnings.State == weather.WarningsUnavailable {
		p.item(p.say("official_unavailable", nil))
	}
}

// official is a warning as its issuer says it, and what follows from it here.
func (p *page) official(o *forecast.Outlook, w *weather.Warning) {
	language := p.w.Language()
	text := p.say("official_one", map[string]any{"Event": w.Event.In(language), "Issuer": w.Issuer.In(language),
		"From": p.moment(w.From), "To": p.moment(w.To)})
	if said := w.Headline.In(language); said != "" {
		text += " " + p.say("official_headline", map[string]any{"Headline": said})
	}
	for i := range o.Work.Dangers {
		if d := &o.Work.Dangers[i]; d.Warning == w.ID {
			text += " " + p.say("danger_no_round", nil) + p.cost(d)
		}
	}
	p.item(text)
	lines := p.last().Lines
	lines[len(lines)-1].Link = w.URL.In(language)
}

// cost is what a danger costs, "" for little.
func (p *page) cost(d *forecast.Danger) string {
	const littleL = 1
	n, unit := p.w.RoughVolume(d.LossL)
	if d.LossL < littleL || n == "0" {
		return ""
	}
	return " " + p.say("danger_cost", map[string]any{"Volume": n, "Unit": unit})
}

func (p *page) moment(t time.Time) string { return p.w.Weekday(t) + " " + p.w.Clock(t) }
