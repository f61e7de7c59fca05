package main

import (
	"time"

	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/config"
)

const channelTimeout = 20 * time.Second

// openChannels opens the channels of the settings; the ledger knows the browsers
// that are pushed to.
func openChannels(c *config.Config, l *ledger.Ledger) map[string]channel.Channel {
	with := channel.With{Agent: "thawline/" + version, Timeout: channelTimeout, Now: time.Now, Subscribers: l, Contact: c.Weather.Contact}
	out := map[string]channel.Channel{}
	for _, ch := range c.Channels {
		out[ch.ID] = ch.Options.Open(with)
	}
	return out
}

// peopleOf finds how all people of the settings are reached.
func peopleOf(c *config.Config) []channel.Person {
	out := make([]channel.Person, len(c.People))
	for i := range c.People {
		out[i] = personOf(&c.People[i], c)
	}
	return out
}

// personOf finds how a person of the settings is reached.
func personOf(p *config.Person, c *config.Config) channel.Person {
	out := p.Person
	for _, id := range p.Channels {
		for _, ch := range c.Channels {
			if ch.ID == id {
				out.Ways = append(out.Ways, channel.Way{Channel: id, To: ch.Options.To(channel.Reach{ID: p.ID, Phone: p.Phone, Email: p.Email})})
			}
		}
	}
	return out
}
