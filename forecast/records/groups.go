package records

import (
	"strings"

	"thawline/forecast/units"
)

// Group is a group of taps as a notebook may name it.
type Group struct{ ID, Name string }

// ResolveGroups gives visits that come in together their site and the ids of their
// groups, which may also be called by name, and tells of which it can't: those of
// another site, groups that there are not, and lines that say two things of the same
// moment. A doubt about another site has the one that is meant among its Groups.
func ResolveGroups(visits []Visit, site string, groups []Group) []Doubt {
	var ids, names []string
	for _, g := range groups {
		ids = append(ids, g.ID)
		names = append(names, g.ID)
		if g.Name != "" && folded(g.Name) != folded(g.ID) {
			names = append(names, g.Name)
		}
	}
	type key struct {
		group, at string
		day       bool
	}
	seen := map[key]*Visit{}
	var out []Doubt
	for i := range visits {
		v := &visits[i]
		refuse := func(d Doubt) {
			d.Visit, d.Index, d.Refusal = *v, i, true
			out = append(out, d)
		}
		if v.Site == "" {
			v.Site = site
		}
		if v.Site != site {
			refuse(Doubt{Kind: OtherSite, Groups: []string{site}})
			continue
		}
		id, found := groupOf(v.Group, groups)
		switch {
		case found:
			v.Group = id
		case v.Group == "":
			refuse(Doubt{Kind: NoGroup, Groups: ids})
			continue
		default:
			refuse(Doubt{Kind: UnknownGroup, Groups: ids, Near: units.Nearest(v.Group, names)})
			continue
		}
		k := key{v.Group, v.CollectedAt.UTC().String(), v.DateOnly}
		if first := seen[k]; first == nil {
			seen[k] = v
		} else if !v.IsAgain(first) {
			refuse(Doubt{Kind: SameTwice, Other: first.Line})
		}
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
