package forecast

import "time"

// Evening is what an evening said of the coming days, kept to be looked back on.
type Evening struct {
	Date     string    `json:"date"` // of the evening, local
	IssuedAt time.Time `json:"issued_at"`
	Kept     bool      `json:"kept,omitempty"` // the weather was the last good one
	// TapsIn is the share of all taps that the evening speaks of, those that were not
	// pulled; 0 for all.
	TapsIn float64 `json:"taps_in,omitempty"`
	Days   []Day   `json:"days"` // from the day after on
	Announced
}

// Announced is what people were told of the work: by an evening, or by news of a round since.
type Announced struct {
	// Rounds are all until the next evening but those that people had said they make.
	Rounds []CrewRound `json:"rounds,omitempty"`
	// Since is when each group had been emptied last, as far as was known then.
	Since map[string]time.Time `json:"since,omitempty"`
}

// Announced is what there is to tell of the work now.
func (w *Work) Announced() Announced {
	var a Announced
	for i := range w.Rounds {
		if r := &w.Rounds[i]; !r.Pinned && r.Start.Before(w.Until) {
			a.Rounds = append(a.Rounds, *r)
		}
	}
	for i := range w.Groups {
		if g := &w.Groups[i]; len(a.Rounds) > 0 && g.SinceVisit != nil {
			if a.Since == nil {
				a.Since = map[string]time.Time{}
			}
			a.Since[g.Group] = *g.SinceVisit
		}
	}
	return a
}

// eveningDays is how far ahead evenings are kept: a longer look back compares
// little but climates.
const eveningDays = 7

// EveningOf takes from an outlook what is kept of it.
func EveningOf(o *Outlook) Evening {
	e := Evening{Date: o.IssuedAt.Format(time.DateOnly), IssuedAt: o.IssuedAt, Kept: o.Source.Kept}
	if in := o.Bush.TapsIn(); in < o.Bush.Taps {
		e.TapsIn = float64(in) / float64(o.Bush.Taps)
	}
	e.Announced = o.Work.Announced()
	for i := range o.Days {
		if o.Days[i].Date > e.Date && len(e.Days) < eveningDays {
			e.Days = append(e.Days, o.Days[i])
		}
	}
	return e
}
