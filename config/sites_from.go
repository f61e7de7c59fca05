package config

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"thawline/forecast"
)

// sitesFrom reads the sites that stand in a folder of files or in a table. What
// is wrong with one keeps that one out, with its people, and is told as a
// warning; the others go on.
func (r *reader) sitesFrom(c *Config, sites, people seenIDs) {
	name := r.text("sites_from")
	if name == "" {
		return
	}
	c.SitesFrom = r.besideFile("sites_from", name)
	info, err := os.Stat(c.SitesFrom)
	switch {
	case err != nil:
		r.fail("sites_from", name+": "+cause(err), "name a folder of .yaml files or one .csv file; looked for "+c.SitesFrom)
	case info.IsDir():
		r.folder(c, sites, people)
	default:
		r.table(c, sites, people)
	}
	if len(c.Sites) == 0 && err == nil && len(r.elsewhere) == 0 {
		r.fail("sites_from", name+": no site is described there",
			"put one file for each site there, or write rows below the head of the table")
	}
}

// folder reads every .yaml file of a folder: sites and people, as in the settings
// file.
func (r *reader) folder(c *Config, sites, people seenIDs) {
	files, err := filepath.Glob(filepath.Join(escaped(c.SitesFrom), "*.yaml"))
	if err != nil {
		r.fail("sites_from", c.SitesFrom+": "+cause(err), "name another folder")
	}
	slices.Sort(files)
	for _, file := range files {
		data, what := readFile(file, maxFileBytes)
		if what != "" {
			r.elsewhere = append(r.elsewhere, Problem{File: file, What: what, Remedy: "mend or remove it; it is left out", LeftOut: true})
			continue
		}
		source := newSettingsFile(file, &part)
		v, err := layers(source, data)
		if err != nil {
			r.elsewhere = append(r.elsewhere,
				Problem{File: file, What: err.Error(), Remedy: "mend or remove it; it is left out", LeftOut: true})
			continue
		}
		of := &reader{v: v, file: file, source: source, where: filepath.Base(file) + " ", nameless: r.nameless}
		of.part(c, of.entries("sites"), of.entries("people"), sites, people)
		r.elsewhere = append(r.elsewhere, of.warnings...)
	}
}

// escaped keeps a folder's own brackets and stars from being taken for a pattern.
func escaped(folder string) string {
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(folder)
}

// part takes sites and the people that belong to them into the settings, all of
// them or none. Such people are concerned with these sites alone: nobody gets a
// right over another's bush by a file of one's own.
func (r *reader) part(c *Config, siteEntries, personEntries []string, sites, people seenIDs) {
	before := len(r.problems)
	own := *c
	own.Sites = nil
	r.in = &own
	var ids []string
	newSites, newPeople := copyOnWrite{seen: sites}, copyOnWrite{seen: people}
	for _, at := range siteEntries {
		s := r.site(at, newSites.id(r, at))
		own.Sites, ids = append(own.Sites, s), append(ids, s.ID)
	}
	var told []Person
	for _, at := range personEntries {
		p := r.person(at, newPeople.id(r, at))
		if p.Sites == nil {
			p.Sites = ids
		}
		p.Member = true
		told = append(told, p)
	}
	bad := append(slices.Clone(r.source.problems), r.problems[before:]...)
	r.problems, r.source.problems = r.problems[:before], nil
	if len(bad) > 0 {
		inFileOrder(bad)
		for i := range bad {
			bad[i].LeftOut = true
		}
		bad[0].Remedy += fmt.Sprintf("; until then this is left out: %s", strings.Join(ids, ", "))
		r.warnings = append(r.warnings, bad...)
		c.LeftOut = append(c.LeftOut, ids...)
		return
	}
	newSites.keep()
	newPeople.keep()
	c.Sites, c.People = append(c.Sites, own.Sites...), append(c.People, told...)
}

// copyOnWrite takes ids into seen only once all of a part is good.
type copyOnWrite struct{ seen, own seenIDs }

func (w *copyOnWrite) id(r *reader, at string) string {
	if w.own == nil {
		w.own = seenIDs{}
	}
	if _, known := w.seen[envName([]string{r.text(join(at, "id"))})]; known {
		return r.id(at, w.seen) // tells who has it
	}
	return r.id(at, w.own)
}

func (w *copyOnWrite) keep() {
	for id, where := range w.own {
		w.seen[id] = where
	}
}

// Carry takes over from earlier settings what they know of the sites that are left
// out now: a mistake in a file does not silence its bush.
func (c *Config) Carry(earlier *Config) {
	if c.SitesFrom == "" && !c.MembersKey.Given() {
		return
	}
	wanted := map[string]bool{}
	for _, id := range c.LeftOut {
		wanted[id] = true
	}
	carried := map[string]bool{}
	for i := range earlier.Sites {
		if id := earlier.Sites[i].ID; wanted[id] && !slices.ContainsFunc(c.Sites, func(s forecast.Site) bool { return s.ID == id }) {
			c.Sites, carried[id] = append(c.Sites, earlier.Sites[i]), true
		}
	}
	for i := range earlier.People {
		p := &earlier.People[i]
		kept := slices.DeleteFunc(slices.Clone(p.Sites), func(id string) bool { return !carried[id] })
		if len(kept) == 0 {
			continue
		}
		now := slices.IndexFunc(c.People, func(q Person) bool { return q.ID == p.ID })
		switch {
		case now >= 0 && c.People[now].Member: // whose other bushes are described well
			for _, id := range kept {
				if !slices.Contains(c.People[now].Sites, id) {
					c.concern([]string{p.ID}, id)
				}
			}
		case now < 0 && len(kept) == len(p.Sites):
			c.People = append(c.People, *p)
		}
	}
}
