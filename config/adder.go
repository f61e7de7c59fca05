package config

import (
	"fmt"
	"slices"
	"strings"

	"thawline/forecast"
)

// Adder adds bushes and people to settings as Add does, and remembers what became of each:
// of thousands only those are read that are not as they were. The zero value remembers
// nothing. It is for one goroutine.
type Adder struct {
	base           *Config
	bushes, people map[string]*added
}

// added is what became of a description.
type added struct {
	serial   int64
	named    []string // bushes of a person that there were
	saw      string   // those, and which description of each it was
	site     *forecast.Site
	person   *Person
	problems []Problem // that keep it out
	warnings []Problem
}

// Add returns the settings with what is described. Those that it is given stay as they are.
func (a *Adder) Add(base *Config, described []Described) *Config {
	if a.base != base {
		a.base, a.bushes, a.people = base, map[string]*added{}, map[string]*added{}
	}
	whole := *base
	whole.add(described, a)
	there := map[string]bool{}
	for i := range described {
		there[described[i].Kind+" "+described[i].ID] = true
	}
	for kind, of := range map[string]map[string]*added{Bush: a.bushes, Member: a.people} {
		for id := range of {
			if !there[kind+" "+id] {
				delete(of, id)
			}
		}
	}
	return &whole
}

func (a *Adder) of(kind string) map[string]*added {
	if kind == Bush {
		return a.bushes
	}
	return a.people
}

// known is what became of a description before, nil where it has to be read.
func (a *Adder) known(d *Described, seen seenIDs, at map[string]int) *added {
	if a == nil || d.Serial == 0 {
		return nil
	}
	was := a.of(d.Kind)[d.ID]
	name := envName([]string{d.ID})
	if _, taken := seen[name]; was == nil || was.serial != d.Serial || taken || was.saw != a.sight(was.named, at) {
		return nil
	}
	if len(was.problems) == 0 {
		seen[name] = d.Kind + " " + d.ID
	}
	return was
}

// sight tells which descriptions of bushes a person's was read beside.
func (a *Adder) sight(ids []string, at map[string]int) string {
	var b strings.Builder
	for _, id := range ids {
		serial := int64(-1)
		if _, there := at[id]; there {
			if serial = 0; a.bushes[id] != nil {
				serial = a.bushes[id].serial
			}
		}
		fmt.Fprintf(&b, "%s %d\n", id, serial)
	}
	return b.String()
}

func (a *Adder) remember(d *Described, became *added, at map[string]int) {
	if a == nil || d.Serial == 0 {
		return
	}
	became.serial, became.saw = d.Serial, a.sight(became.named, at)
	a.of(d.Kind)[d.ID] = became
}

// take puts what became of a description into the settings: copies, to which others may
// append.
func (c *Config) take(d *Described, a *added) {
	c.Warnings = append(c.Warnings, a.warnings...)
	switch {
	case len(a.problems) > 0:
		if d.Kind == Bush {
			c.LeftOut = append(c.LeftOut, d.ID)
		}
		c.Warnings = append(c.Warnings, a.problems...)
	case a.site != nil:
		s := *a.site
		s.Boiling.Hours, s.Gathering.Free, s.Gathering.People = slices.Clip(s.Boiling.Hours), slices.Clip(s.Gathering.Free),
			slices.Clip(s.Gathering.People)
		c.Sites = append(c.Sites, s)
	case a.person != nil:
		p := *a.person
		p.Sites = slices.Clip(p.Sites)
		c.People = append(c.People, p)
	}
}
