package config

import (
	"thawline/alerts/channel"
)

// Channel is a way to reach people.
type Channel struct {
	ID      string
	Kind    string          // as settings spell it
	Options channel.Options // checked
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
