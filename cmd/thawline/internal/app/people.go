package app

import (
	"time"

	"thawline/alerts/channel"
	"thawline/alerts/engine"
	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/config"
)

// ChannelTimeout is how long a channel is waited for.
const ChannelTimeout = 20 * time.Second

// OpenChannels opens the channels of the settings; the ledger knows the browsers
// that are pushed to.
func OpenChannels(version string, c *config.Config, l *ledger.Ledger) map[string]channel.Channel {
	with := channel.With{Agent: "thawline/" + version, Timeout: ChannelTimeout, Now: time.Now, Subscribers: l, Contact: c.Weather.Contact}
	out := map[string]channel.Channel{}
	for _, ch := range c.Channels {
		out[ch.ID] = ch.Options.Open(with)
	}
	return out
}

// pacesOf are the paces of the channels of the settings.
func pacesOf(c *config.Config) map[string]daemon.Pacing {
	out := map[string]daemon.Pacing{}
	for i := range c.Channels {
		ch := &c.Channels[i]
		out[ch.ID] = daemon.Pacing{Senders: ch.Senders, Rate: engine.Rate{PerSecond: ch.PerSecond, Burst: ch.Burst}}
	}
	return out
}

// PeopleOf finds how all people of the settings are reached.
func PeopleOf(c *config.Config) []channel.Person {
	out := make([]channel.Person, len(c.People))
	for i := range c.People {
		out[i] = Person(&c.People[i], c)
	}
	return out
}

// Person finds how a person of the settings is reached.
func Person(p *config.Person, c *config.Config) channel.Person {
	out := p.Person
	for _, id := range p.Channels {
		for _, ch := range c.Channels {
			if ch.ID == id {
				out.Ways = append(out.Ways,
					channel.Way{Channel: id,
						To: ch.Options.To(channel.Reach{ID: p.ID, Phone: p.Phone, Email: p.Email, SomeSites: p.Sites != nil})})
			}
		}
	}
	return out
}
