package config

import (
	"regexp"
	"strconv"
	"time"

	"thawline/alerts/channel"
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
	of("senders", "24", whole(200, " messages at a time", "write how many messages may be on their way at a time, from 1 to 200"), func(c *Channel) *int { return &c.Senders }),
	of("rate", "5/s", pace(), func(c *Channel) *float64 { return &c.PerSecond }),
	of("burst", "10", whole(10000, " messages at once", "write how many messages may go at once after a rest, such as 10"), func(c *Channel) *int { return &c.Burst }),
}

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

// usualSenders is how many messages of a kind of channel are on their way at a time: a
// gateway answers over the internet.
func usualSenders(kind string) int {
	if kind == channel.GatewayKind {
		return 24
	}
	return 8
}

// channel reads a channel by the rows of its kind. What its options complain of is
// told with what their texts were, in the order of the rows.
func (r *reader) channel(at, id string) Channel {
	names := make([]string, len(channelKinds))
	for i, k := range channelKinds {
		names[i] = k.name
	}
	c := Channel{ID: id}
	c.Kind, _ = neededOneOf("kind of channel", names...).read(r, join(at, "kind"))
	for _, k := range channelKinds {
		if k.name != c.Kind {
			continue
		}
		c.Options = k.make()
		c.Senders = usualSenders(c.Kind)
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
