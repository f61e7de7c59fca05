package main

import (
	"fmt"
	"net"
	"net/http"
	"strconv"
	"time"

	"github.com/go-resty/resty/v2"

	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/config"
)

const (
	channelTimeout = 20 * time.Second
	// longestAnswer is what is read of a channel's answer: gateways say a line or two.
	longestAnswer = 64 << 10
)

// openChannels makes the channels of the settings; the ledger knows the browsers
// that are pushed to.
func openChannels(c *config.Config, l *ledger.Ledger) (map[string]channel.Channel, error) {
	list := c.Channels
	contact := c.Weather.Contact
	out := map[string]channel.Channel{}
	for i := range list {
		c := &list[i]
		client := resty.New().SetTimeout(channelTimeout).SetResponseBodyLimit(longestAnswer).SetRedirectPolicy(resty.NoRedirectPolicy()).SetHeader("User-Agent", "thawline/"+version)
		secret := c.Secret.Reveal()
		switch c.Kind {
		case config.TextGateway:
			headers := map[string]string{}
			if c.HeaderName != "" {
				headers[c.HeaderName] = c.HeaderTemplate
			}
			out[c.ID] = &channel.Gateway{Client: client, Method: c.Method, URL: c.URL, Form: c.Form, JSON: c.JSON, Headers: headers, Secret: secret, Accepted: c.Accepted}
		case config.GSMModem:
			out[c.ID] = &channel.Modem{Outbox: c.Outbox}
		case config.EmailKind:
			out[c.ID] = &channel.Email{Host: c.Host, Port: c.Port, User: c.User, Password: secret, From: c.From, Plain: c.Plain, Timeout: channelTimeout}
		case config.Webhook:
			out[c.ID] = &channel.Webhook{Client: client, URL: c.URL, Secret: secret, Now: time.Now}
		case config.WebPush:
			out[c.ID] = &channel.WebPush{Client: &http.Client{Timeout: channelTimeout, Transport: channel.OpenInternet()}, Subscribers: l, Contact: contact}
		case config.MQTT:
			out[c.ID] = &channel.MQTT{Address: net.JoinHostPort(c.Host, strconv.Itoa(c.Port)), TLS: !c.Plain, User: c.User, Password: secret, Topic: c.Topic, Discovery: c.Discovery}
		case config.Ntfy:
			out[c.ID] = &channel.Ntfy{Client: client, URL: c.URL, Token: secret}
		default:
			return nil, fmt.Errorf("channel %s: no kind called %s", c.ID, c.Kind)
		}
	}
	return out, nil
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
		for i := range c.Channels {
			if ch := &c.Channels[i]; ch.ID == id {
				out.Ways = append(out.Ways, channel.Way{Channel: id, To: addressFor(ch, p)})
			}
		}
	}
	return out
}

// addressFor is what a channel needs to find a person, "" where the settings lack it.
func addressFor(c *config.Channel, p *config.Person) string {
	switch c.Kind {
	case config.TextGateway, config.GSMModem:
		return p.Phone.Reveal()
	case config.EmailKind:
		return p.Email.Reveal()
	case config.WebPush, config.Webhook:
		return p.ID
	}
	return c.Topic
}
