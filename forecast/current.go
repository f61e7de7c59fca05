package forecast

import "time"

// StandsFor is how long an outlook says something of today: the daemon makes a new one
// every few hours, from the last good forecast too, unless no weather can be used.
const StandsFor = 20 * time.Hour

// At is the outlook as it reads at a later moment: its days begin with that moment's
// own, and its weather is as old as it is by then. It is nil where it is too old to go by.
func (o *Outlook) At(now time.Time, zone *time.Location) *Outlook {
	if now.Sub(o.IssuedAt) > StandsFor {
		return nil
	}
	at := *o
	at.Source.AgeHours = max(now.Sub(o.Source.IssuedAt).Hours(), 0)
	today := now.In(zone).Format(time.DateOnly)
	for len(at.Days) > 0 && at.Days[0].Date < today {
		at.Days = at.Days[1:]
	}
	return &at
}
