// Package forecast makes the outlook of a sugarbush, from weather to litres.
package forecast

import (
	"thawline/forecast/weather"
)

// Make works out the outlook: weather, trunk, sap, volume, then what they mean
// for containers, fire and season. It does no I/O, and the same inputs give the
// same outlook.
func Make(in Inputs) (Outlook, error) {
	p, err := Foresee(in)
	if err != nil {
		return Outlook{}, err
	}
	in = p.in
	ensemble, flow, frozen, calendar := p.ensemble, p.strands.flow, p.frozen, p.calendar
	yields := learnt(&in, p.held, p.bush, flow, calendar)
	if err := yields.follow(&in, p.strands, p.held.visits); err != nil {
		return Outlook{}, err
	}

	o := Outlook{
		Site:     in.Site.ID,
		Bush:     bushOf(&in.Site),
		IssuedAt: in.Now.In(in.Site.Zone),
		Source:   sourceOf(&in, &ensemble, calendar),
		Earlier:  Earlier{BySums: in.Taught.BySums, LeftOut: in.Taught.LeftOut},
		Hours:    hoursOfOutlook(&in, &ensemble, p.strands, frozen, calendar, yields),
	}
	o.Offset = offsetOf(&in, p)
	left, leftFlow, leftYields := withoutPulled(&in, flow, yields)
	o.Yields = leftYields.steps
	o.Days = makeDays(&left.Site, &ensemble, leftFlow, calendar, leftYields)
	o.Season = seasonOf(&in, &ensemble, o.Days)
	sayWhyStill(o.Days, frozen, calendar)
	o.Warnings = officialOf(&in)
	stock, shelf := stockOf(&in, &ensemble, flow, yields)
	o.Stock = stock
	o.Work = workOf(&left, &ensemble, leftFlow, calendar, leftYields, shelf)
	o.Work.Groups, o.Work.Off = withPulled(&in.Site, o.Work.Groups), offRounds(&in)
	o.Boil = boilDays(&in, &o, &ensemble, calendar, shelf)
	o.Sugar = sugarSpans(&in, &ensemble, calendar, syrupFrom(&in, &o, &ensemble, flow, yields))
	o.Teaching = teachingDays(&o, &ensemble, calendar)
	o.Cautions = cautions(&o, &ensemble, calendar)
	o.Attribution = append([]weather.Credit{}, in.Bulletin.Credits...)
	return o, nil
}
