package alerts

import "thawline/forecast"

// closed thanks once a year, in the evening after all taps were pulled: until then a
// slip can be undone. Nothing else is told of a bush without taps.
func (r *rules) closed() {
	if !r.at.Evening {
		return
	}
	f := FactsOfClosed(r.o.Season.Closed)
	r.tell(Decision{Kind: Closed, Key: r.at.Now.In(r.zone).Format("2006"), Until: r.at.Now.AddDate(0, 0, 5), Facts: f,
		Why: []string{"the taps of all groups are pulled, the last on " + f.Date}})
}

// OfGroup reports whether a kind is about one group of taps: about what hangs there, or
// what became of a warning of it.
func (k Kind) OfGroup() bool {
	p, _ := ProfileOf(k)
	return p.Entry == RoundEntry || p.Entry == BoilEntry || k == Question
}

// FactsOfClosed are what the words about a closed season are made from.
func FactsOfClosed(c *forecast.Closed) Facts {
	f := Facts{Date: c.On, Visits: c.Visits, VolumeL: c.SapL}
	switch {
	case c.Visits == 0:
		f.What = "nothing"
	case c.SyrupL != nil:
		f.What, f.SyrupL = "syrup", *c.SyrupL
	}
	return f
}
