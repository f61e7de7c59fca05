package records

import (
	"strings"

	"thawline/forecast/units"
)

// Group is a group of taps as a notebook may name it.
type Group struct{ ID, Name string }

// Settle gives visits of one file their site and the ids of their groups, which a
// notebook may also call by name, and tells of which it can't: groups that there are
// not, and lines that speak of the same visit.
func Settle(visits []Visit, site string, groups []Group) []Doubt {
	var ids, names []string
	for _, g := range groups {
		ids = append(ids, g.ID)
		names = append(names, g.ID)
		if g.Name != "" && folded(g.Name) != folded(g.ID) {
			names = append(names, g.Name)
		}
	}
	type key struct {
		site, group, at string
		day             bool
	}
	seen := map[key]int{}
	var out []Doubt
	for i := range visits {
		v := &visits[i]
		if v.Site == "" {
			v.Site = site
		}
		if v.Site == site {
			id, found := groupOf(v.Group, groups)
			switch {
			case found:
				v.Group = id
			case v.Group == "":
				out = append(out, Doubt{Kind: NoGroup, Visit: *v, Refusal: true, Groups: ids})
				continue
			default:
				out = append(out, Doubt{Kind: UnknownGroup, Visit: *v, Refusal: true, Groups: ids, Near: units.Nearest(v.Group, names)})
				continue
			}
		}
		k := key{v.Site, v.Group, v.CollectedAt.UTC().String(), v.DateOnly}
		if line, twice := seen[k]; twice {
			out = append(out, Doubt{Kind: SameTwice, Visit: *v, Refusal: true, Other: line})
		}
		seen[k] = v.Line
	}
	return out
}

// groupOf finds a group by its id or, failing that, by the only name that is so
// written; the only group where nothing is.
func groupOf(written string, groups []Group) (id string, found bool) {
	if written == "" && len(groups) == 1 {
		return groups[0].ID, true
	}
	for _, g := range groups {
		if g.ID == written {
			return g.ID, true
		}
	}
	for _, g := range groups {
		if written == "" || folded(g.ID) != folded(written) && folded(g.Name) != folded(written) {
			continue
		}
		if found && id != g.ID {
			return "", false
		}
		id, found = g.ID, true
	}
	return id, found
}

// folded is a name in small letters with single spaces, for hyphens too.
func folded(name string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(name), func(c rune) bool { return strings.ContainsRune(" \u00a0\t-_", c) }), " ")
}
