package config

import (
	"regexp"
	"strconv"
	"time"

	"thawline/alerts/channel"
	"thawline/forecast/secret"
)

// Channel is a way to reach people.
type Channel struct {
	ID        string
	Kind      string          // as settings spell it
	Options   channel.Options // checked
	Senders   int             // messages on their way at a time
	PerSecond float64         // messages that it takes, 0 for as many as come
	Burst     int             // of them at once after a rest
}

// paceRows are the settings that channels of all kinds have.
var paceRows = []setting{
	of("senders", "24", whole(200, " messages at a time", "write how many messages may be on their way at a time, from 1 to 200"),
		func(c *Channel) *int { return &c.Senders }),
	of("rate", "5/s", pace(), func(c *Channel) *float64 { return &c.PerSecond }),
	of("burst", "10", whole(10000, " messages at once", "write how many messages may go at once after a rest, such as 10"),
		func(c *Channel) *int { return &c.Burst }),
}

// aFewSenders are those of a kind that says no other number.
const aFewSenders = 8

var paceForm = regexp.MustCompile(`^([0-9]+(?:\.[0-9]+)?) ?/ ?(s|min|h)$`)

// pace is how many messages a channel takes a second.
func pace() kind[float64] {
	return parsed(func(r *reader, path, text string) (float64, bool) {
		m := paceForm.FindStringSubmatch(text)
		if m != nil {
			n, err := strconv.ParseFloat(m[1], 64)
			span := map[string]time.Duration{"s": time.Second, "min": time.Minute, "h": time.Hour}[m[2]]
			if x := n / span.Seconds(); err == nil && x > 0 && x <= 1000 {
				return x, true
			}
		}
		r.fail(path, text+": not a rate", "write how many messages the channel takes, such as 5/s, 30/min or 200/h")
		return 0, false
	})
}

// channelKind is a kind of channel with the rows of its settings, which fill its options.
type channelKind struct {
	*channel.Kind
	rows []setting
}

var channelKinds = func() (kinds []channelKind) {
	for _, k := range channel.Kinds() {
		one := channelKind{Kind: k}
		for _, s := range k.Options().Settings() {
			one.rows = append(one.rows, channelRow(k, &s))
		}
		kinds = append(kinds, one)
	}
	return kinds
}()

// channelRow makes the row of a setting by what its field holds.
func channelRow(k *channel.Kind, s *channel.Setting) setting {
	switch s.Into.(type) {
	case *string:
		return optionRow(s, func(s *channel.Setting) kind[string] {
			if s.File {
				return fileName()
			}
			return words()
		})
	case *secret.Text:
		return optionRow(s, func(*channel.Setting) kind[secret.Text] { return confidential((*reader).secret) })
	case *bool:
		return optionRow(s, func(s *channel.Setting) kind[bool] { return whether("none", s.Key, "tls", "none") })
	case *int:
		return optionRow(s, func(s *channel.Setting) kind[int] { return port(s.Usual) })
	case **regexp.Regexp:
		return optionRow(s, func(s *channel.Setting) kind[*regexp.Regexp] { return pattern(s.Remedy) })
	}
	panic("config: no row for " + k.Name + "." + s.Key)
}

// optionRow is the row of a setting, of which each channel has a field of its own.
func optionRow[V any](of *channel.Setting, kindOf func(*channel.Setting) kind[V]) setting {
	key := of.Key
	return setting{key: key, shape: kindOf(of).shape, example: of.Example, read: func(r *reader, path string, into any) {
		for _, s := range into.(channel.Options).Settings() {
			if s.Key != key {
				continue
			}
			if value, given := kindOf(&s).read(r, path); given {
				*s.Into.(*V) = value
			}
		}
	}}
}

// channelRows are those of all kinds, each key once.
func channelRows() []setting {
	rows := []setting{apart("id", "text"), apart("kind", channel.GatewayKind)}
	known := map[string]bool{}
	for _, u := range paceRows {
		rows = append(rows, setting{key: u.key, shape: u.shape, example: u.example})
	}
	for _, k := range channelKinds {
		for _, u := range k.rows {
			if !known[u.key] {
				known[u.key] = true
				rows = append(rows, setting{key: u.key, shape: u.shape, example: u.example})
			}
		}
	}
	return rows
}

// channel reads a channel by the rows of its kind. What its options complain of is
// told with what their texts were, in the order of the rows.
func (r *reader) channel(at, id string) Channel {
	names := make([]string, len(channelKinds))
	for i, k := range channelKinds {
		names[i] = k.Name
	}
	c := Channel{ID: id}
	c.Kind, _ = neededOneOf("kind of channel", names...).read(r, join(at, "kind"))
	for _, k := range channelKinds {
		if k.Name != c.Kind {
			continue
		}
		c.Options = k.Options()
		if c.Senders = k.Senders; c.Senders == 0 {
			c.Senders = aFewSenders
		}
		r.fill(paceRows, at, &c)
		before := len(r.problems)
		told := map[string][]Problem{}
		keep := func(key string) {
			told[key] = append(told[key], r.problems[before:]...)
			r.problems = r.problems[:before]
		}
		for i := range k.rows {
			r.fill(k.rows[i:i+1], at, c.Options)
			keep(k.rows[i].key)
		}
		for _, f := range c.Options.Check() {
			path := join(at, f.Key)
			if s, _ := (&setting{under: k.rows}).find(f.Key); s.shape == hidden {
				path = r.secretAt(path)
			}
			r.fail(path, f.What, f.Remedy)
			keep(f.Key)
		}
		for _, u := range k.rows {
			r.problems = append(r.problems, told[u.key]...)
		}
	}
	return c
}
