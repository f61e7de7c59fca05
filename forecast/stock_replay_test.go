package forecast

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/records"
)

// book is the sugarhouse of somebody who boils as planned and writes it down, and what
// they have there in truth.
type book struct {
	entries            []records.HouseEntry
	haveL              float64
	boiledL, tippedOut float64
	fires              int
}

func (b *book) write(kind records.HouseKind, at time.Time, litres float64) {
	b.entries = append(b.entries, house(kind, at, litres, math.NaN()))
	b.haveL -= litres
}

// boilAsPlanned boils what a plan says up to a moment, and tips out what had gone bad.
func (b *book) boilAsPlanned(o *Outlook, now time.Time) {
	if o == nil {
		b.write(records.Boiled, now, 0.01) // from the first day on somebody writes down
		return
	}
	if bad := o.Stock.SpoiltL(); bad > 0 {
		b.write(records.TippedOut, now, bad)
		b.tippedOut += bad
	}
	for i := range o.Boil {
		d := &o.Boil[i]
		if d.Start == nil || !d.Start.Before(now) {
			continue
		}
		if done := min(d.SapL*min(1, now.Sub(*d.Start).Hours()/d.End.Sub(*d.Start).Hours()), b.haveL); done > 1 { // no more than there is
			b.write(records.Boiled, now, done)
			b.boiledL += done
			b.fires++
		}
	}
}

// check holds stock and fires against what is there.
func (b *book) check(t *testing.T, name string, o *Outlook) {
	t.Helper()
	had := 0.0
	for i := range o.Stock.Sap {
		had += o.Stock.Sap[i].Litres
	}
	if math.Abs(had-b.haveL) > 2+0.02*b.haveL { // films of batches, and rounding
		t.Errorf("%s, %s: %.0f L in the stock, %.0f in truth", name, o.IssuedAt, had, b.haveL)
	}
	b.haveL = had
	had = o.Stock.GoodL() + o.Stock.SpoiltL()
	for i := range o.Boil {
		d := &o.Boil[i]
		had += d.GatheredL
		if astray := had - d.SapL - d.LeftL - d.SpoiltL - d.NoRoomForL; math.Abs(astray) > 2+0.01*had {
			t.Errorf("%s, %s: %s: %.1f L are astray of %.0f: %.0f boiled, %.0f stay, %.0f bad", name, o.IssuedAt, d.Date, astray, had,
				d.SapL, d.LeftL, d.SpoiltL)
			return
		}
		had = d.LeftL + d.SpoiltL
		if d.Start == nil {
			continue
		}
		from, to := d.Start.Hour()*60+d.Start.Minute(), d.End.Hour()*60+d.End.Minute()
		if from < 8*60 || to > 20*60 || d.End.Before(*d.Start) || d.BoilBy != nil && !d.BoilBy.After(*d.Start) {
			t.Errorf("%s, %s: a fire from %s to %s with sap that keeps until %v", name, o.IssuedAt, d.Start, d.End, d.BoilBy)
		}
	}
}
