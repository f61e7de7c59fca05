// Package forecast makes the outlook of a sugarbush, from weather to litres.
//
// Start at [Make]: it takes [Inputs] (a [Site], a forecast of the weather, what people wrote
// down, the clock and a seed) and returns an [Outlook], the one document that texts, pages
// and alerts are made from. It does no I/O, and the same inputs make the same outlook. The
// steps have packages of their own, in this order: weather, trunk, sap, volume, rounds,
// boil and season.
package forecast

import (
	"thawline/forecast/parallel"
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
	brought := p.held.gathered(&in, p.strands, p.bush)
	left, leftFlow, leftYields := withoutPulled(&in, flow, yields)

	o := Outlook{
		Site:     in.Site.ID,
		Bush:     bushOf(&in.Site),
		IssuedAt: in.Now.In(in.Site.Zone),
		Source:   sourceOf(&in, &ensemble, calendar),
		Earlier:  Earlier{BySums: in.Taught.BySums, LeftOut: in.Taught.LeftOut},
	}
	var stock *shelf
	parallel.Together(
		func() {
			o.Stock, stock = stockOf(&in, &ensemble, flow, yields)
			o.Work = workOf(&left, &ensemble, leftFlow, calendar, leftYields, stock)
			if in.AsksTaps && !in.anyTapped() {
				o.Work = o.Work.untapped(left.Site.Groups)
			}
		},
		func() {
			o.Days = makeDays(&left.Site, &ensemble, leftFlow, calendar, leftYields)
			var turns *turning
			o.Season, turns = seasonOf(&in, &ensemble, o.Days)
			seasonAhead(&in, p, yields, turns, brought, &o.Season)
		},
		func() { o.Yields, err = yields.follow(&in, p.strands, p.held.visits) },
		func() { o.Hours = hoursOfOutlook(&in, &ensemble, p.strands, frozen, calendar, yields, brought) },
	)
	if err != nil {
		return Outlook{}, err
	}
	o.Offset = offsetOf(&in, p)
	o.Eyes, o.Seen = p.eyes, p.seen()
	sayWhyStill(o.Days, frozen, calendar)
	o.Warnings = officialOf(&in)
	o.Work.Groups, o.Work.Off = withPulled(&in.Site, o.Work.Groups), offRounds(&in)
	o.Classes = classes(&in, &ensemble, flow, &o.Work, stock)
	o.Boil = boilDays(&in, &o, &ensemble, calendar, stock)
	o.House = houseOf(&in)
	o.Sugar = sugarSpans(&in, &ensemble, calendar, syrupFrom(&in, &o, &ensemble, flow, yields))
	o.Teaching = teachingDays(&o, &ensemble, calendar, in.Site.Boiling.School)
	o.Cautions = cautions(&o, &ensemble, calendar)
	o.Attribution = append([]weather.Credit{}, in.Bulletin.Credits...)
	return o, nil
}
