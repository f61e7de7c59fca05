package alerts

import (
	"fmt"
	"time"

	"thawline/forecast"
)

// What is said of sap in the sugarhouse: that it will not keep, and that it has gone bad.
const (
	inTank  = "tank"
	tankBad = "tank_tip_out"
)

// tank tells of sap in the sugarhouse that will not keep, and of what has gone bad there:
// again only when more has come in or turned since: what was told is not told anew because the oldest
// of it has gone bad. Where nobody writes down what is boiled nobody knows what is left, and
// nothing is told.
func (r *rules) tank() {
	if !r.o.Stock.BoilsKnown {
		return
	}
	var soon, bad batches
	for i := range r.o.Stock.Sap {
		switch b := &r.o.Stock.Sap[i]; {
		case b.KeepsLonger: // than the weather is known
		case !b.BoilBy.After(r.at.Now):
			bad.add(b)
		case b.BoilBy.Sub(r.at.Now) <= r.t.BoilWithin:
			soon.add(b)
		}
	}
	least := max(leastToBoilL, float64(r.o.Bush.TapsIn())*restOfTapL)
	if soon.litres >= least && (r.at.Evening || !r.canWait(soon.first) && !r.sleeps()) {
		r.tell(Decision{Kind: BoilBy, Key: inTank + ":" + soon.newest, Until: soon.first.Add(6 * time.Hour),
			Facts: Facts{What: inTank, At: soon.first, VolumeL: soon.litres},
			Why: []string{fmt.Sprintf("%.0f L in the sugarhouse, the first spoilt about %s, within %s", soon.litres,
				soon.first.Format("Mon 15:04"), r.t.BoilWithin)}})
	}
	if bad.litres >= least && r.at.Evening { // it can wait until there is more to say
		r.tell(Decision{Kind: BoilBy, Key: tankBad + ":" + bad.newest, Until: r.at.Now.AddDate(0, 0, 1),
			Facts: Facts{What: tankBad, VolumeL: bad.litres},
			Why:   []string{fmt.Sprintf("%.0f L in the sugarhouse have been spoilt since about %s", bad.litres, bad.first.Format("Mon 15:04"))}})
	}
}

// restOfTapL is what stays in a tank from boil to boil, litres a tap, of which nobody wants to hear.
const restOfTapL = 0.1

// batches are some of the sap in the sugarhouse: the day of the newest, and when the first of it goes
// bad.
type batches struct {
	litres float64
	first  time.Time
	newest string
}

// add takes a batch in; they come the oldest first.
func (b *batches) add(one *forecast.SapBatch) {
	if b.first.IsZero() || one.BoilBy.Before(b.first) {
		b.first = one.BoilBy
	}
	b.litres, b.newest = b.litres+one.Litres, one.Batch
}

// ofTank reports whether a decision is about sap in the sugarhouse.
func (d *Decision) ofTank() bool { return d.Facts.What == inTank || d.Facts.What == tankBad }

// boiled reports whether an outlook knows of too little sap of that age in the sugarhouse
// for what a decision says of it to be so still.
func (d *Decision) boiled(o *forecast.Outlook) bool {
	litres := 0.0
	for i := range o.Stock.Sap {
		if b := &o.Stock.Sap[i]; d.Facts.What == tankBad && b.Spoilt ||
			d.Facts.What == inTank && !b.KeepsLonger && b.BoilBy.Sub(d.Facts.At) <= Usual.BoilWithin {
			litres += b.Litres
		}
	}
	return litres < leastToBoilL
}
