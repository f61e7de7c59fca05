package daemon

import (
	"slices"

	"thawline/alerts/channel"
)

// Recipients is how many people messages reach.
type Recipients struct {
	Reached  int // by one channel at least
	People   int // in the settings
	Channels int
}

// RecipientsOf counts those of people who have a channel that knows where to find
// them.
func RecipientsOf(people []channel.Person, channels int) Recipients {
	r := Recipients{People: len(people), Channels: channels}
	for i := range people {
		if slices.ContainsFunc(people[i].Ways, channel.Way.Leads) {
			r.Reached++
		}
	}
	return r
}

// Nobody reports whether messages reach nobody, though the settings name people or
// channels.
func (r Recipients) Nobody() bool { return r.Reached == 0 && (r.People > 0 || r.Channels > 0) }

// Recipients is how many people messages reach by the settings.
func (d *Daemon) Recipients() Recipients {
	d.mu.Lock()
	defer d.mu.Unlock()
	return RecipientsOf(d.settings.People, len(d.settings.Channels))
}

// Reaches is how many people of all get messages.
func (d *Daemon) Reaches() (people, of int) {
	to := d.Recipients()
	return to.Reached, to.People
}
