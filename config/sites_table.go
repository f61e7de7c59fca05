package config

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/viper"

	"thawline/alerts/channel"
	"thawline/forecast/units"
)

// The columns of a table of sites. A row is a group of taps: rows with the same
// id belong to one site. What a site or a person says again it says the same.
var (
	siteColumns = []string{"name", "latitude", "longitude", "elevation", "zone", "faces", "canopy", "tree_diameter", "shares_place",
		"shares_litres", "shares_seen"}
	groupColumns = []string{"group", "group_name", "taps", "collected_by", "container", "tank_volume", "vacuum", "tapped", "species",
		"group_tree_diameter"}
	personColumns = []string{"person", "person_name", "role", "language", "units", "phone_file", "email_file", "channels",
		"quiet_hours", "second_language", "gathers", "boils", "urgent_breaks_quiet", "each_bush", "paused_until"}
	// Numbers and addresses stand only in a table that goes into the database, sealed.
	hiddenColumns = []string{"phone", "email"}
)

// row is what one row says, by column, and its line.
type row struct {
	cells map[string]string
	line  int
}

// table reads sites, groups and people from a CSV file.
func (r *reader) table(c *Config, sites, people seenIDs) {
	doubt := func(line int, what, remedy string, leftOut bool) {
		r.elsewhere = append(r.elsewhere, Problem{File: c.SitesFrom, Line: line, What: what, Remedy: remedy, LeftOut: leftOut})
	}
	data, what := readFile(c.SitesFrom, maxTableBytes)
	if what != "" {
		r.fail("sites_from", c.SitesFrom+": "+what, "name a folder of .yaml files or one .csv file")
		return
	}
	in := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\ufeff"))))
	in.FieldsPerRecord, in.TrimLeadingSpace = -1, true
	head, err := in.Read()
	if err != nil {
		r.fail("sites_from", c.SitesFrom+": no table", "begin it with a head: id,name,latitude,longitude,zone,taps,collected_by,container")
		return
	}
	known := slices.Concat([]string{"id"}, siteColumns, groupColumns, personColumns)
	for i, name := range head {
		head[i] = strings.ToLower(strings.TrimSpace(name))
		if !slices.Contains(known, head[i]) {
			doubt(1, name+": no such column here, and it is ignored",
				units.Suggest(head[i], known, "known: "+strings.Join(known, ", ")), false)
		}
	}
	if !slices.Contains(head, "id") {
		r.fail("sites_from", c.SitesFrom+": no column id",
			"begin the table with a head: id,name,latitude,longitude,zone,taps,collected_by,container")
		return
	}
	ids, of := r.tableRows(in, head, doubt)
	told := map[string]toldPerson{}
	for _, id := range ids {
		source := newSettingsFile(c.SitesFrom, &part)
		site, person := source.rows(of[id], personColumns[1:])
		v := viper.New()
		if err := v.MergeConfigMap(map[string]any{"sites": []any{site}, "people": person}); err != nil {
			doubt(of[id][0].line, err.Error(), "mend it; the site is left out", true)
			continue
		}
		one := &reader{v: v, file: c.SitesFrom, source: source, where: fmt.Sprintf("line %d: ", of[id][0].line), nameless: r.nameless}
		fresh, again := source.tellApart(person, told)
		before := len(c.Sites)
		one.part(c, []string{"sites.0"}, fresh, sites, people)
		if len(c.Sites) > before {
			for _, at := range fresh {
				i, _ := strconv.Atoi(strings.TrimPrefix(at, "people."))
				values := person[i].(map[string]any)
				told[values["id"].(string)] = toldPerson{values, source.lines[at]}
			}
			c.concern(again, c.Sites[before].ID)
		}
		r.elsewhere = append(r.elsewhere, one.warnings...)
	}
}

// tableRows reads the rows below the head of a table, by the ids of their sites, which
// come in the order of the table.
func (r *reader) tableRows(in *csv.Reader, head []string, doubt func(line int, what, remedy string, leftOut bool)) (ids []string,
	of map[string][]row) {
	of = map[string][]row{}
	for {
		cells, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			line := 0
			var e *csv.ParseError
			if errors.As(err, &e) {
				line = e.StartLine
			}
			doubt(line, "not readable as CSV: "+err.Error(), "mend its quotes and commas; what follows is left out", true)
			break
		}
		line, _ := in.FieldPos(0)
		one := row{map[string]string{}, line}
		for i, cell := range cells {
			if cell = strings.TrimSpace(cell); i < len(head) && cell != "" {
				one.cells[head[i]] = cell
			}
		}
		if len(one.cells) == 0 {
			continue
		}
		id := one.cells["id"]
		if of[id] == nil {
			ids = append(ids, id)
		}
		of[id] = append(of[id], one)
	}
	return ids, of
}

// toldPerson is what an earlier site's rows say of somebody, and from which line on.
type toldPerson struct {
	values map[string]any
	line   int
}

// tellApart parts the people of a site into those that are new, by their paths, and
// those that an earlier site has, who say the same again.
func (f *settingsFile) tellApart(people []any, told map[string]toldPerson) (fresh, again []string) {
	for i := range people {
		at, values := join("people", strconv.Itoa(i)), people[i].(map[string]any)
		id := values["id"].(string)
		before, said := told[id]
		if !said {
			fresh = append(fresh, at)
			continue
		}
		again = append(again, id)
		for _, key := range slices.Sorted(maps.Keys(values)) {
			if value, have := values[key], before.values[key]; have != value {
				what := fmt.Sprintf("%v here, and %v from line %d on", value, have, before.line)
				if slices.Contains(hiddenColumns, key) {
					what = fmt.Sprintf("not what stands on line %d", before.line)
				} else if have == nil {
					what = fmt.Sprintf("%v here, and nothing on line %d, where %s is first", value, before.line, id)
				}
				f.problems = append(f.problems,
					Problem{File: f.name, Line: f.lines[at], Key: shown(join(at, key)), What: what,
						Remedy: "say the same of one person everywhere, or leave it out from the second row on"})
			}
		}
	}
	return fresh, again
}

// unlessHidden is a value as it may be told.
func unlessHidden(key, value string) string {
	if slices.Contains(hiddenColumns, key) {
		return "one"
	}
	return value
}

// concern adds a site to those of people.
func (c *Config) concern(people []string, site string) {
	for i := range c.People {
		if p := &c.People[i]; slices.Contains(people, p.ID) {
			p.Sites = append(slices.Clone(p.Sites), site)
		}
	}
}

// rows turns the rows of a site into what its part of a settings file would be.
func (f *settingsFile) rows(rows []row, ofPerson []string) (site map[string]any, people []any) {
	site = map[string]any{"id": rows[0].cells["id"]}
	f.lines["sites.0"] = rows[0].line
	var groups, tanks []any
	persons := map[string]int{}
	for _, one := range rows {
		for _, column := range siteColumns {
			key := column
			switch {
			case column == "faces" || column == "canopy":
				key = "exposure." + column
			case strings.HasPrefix(column, "shares_"):
				key = "shares." + strings.TrimPrefix(column, "shares_")
			}
			f.cell(site, "sites.0", key, one.cells[column], one.line)
		}
		if slices.ContainsFunc(groupColumns, func(c string) bool { return one.cells[c] != "" }) {
			group, tank := f.groupRow(&one, len(groups), len(tanks))
			groups = append(groups, group)
			if tank != nil {
				tanks = append(tanks, tank)
			}
		}
		id := one.cells["person"]
		if id == "" {
			continue
		}
		i, said := persons[id]
		if !said {
			i = len(people)
			persons[id] = i
			people = append(people, map[string]any{"id": id})
			f.lines[join("people", strconv.Itoa(i))] = one.line
		}
		at, person := join("people", strconv.Itoa(i)), people[i].(map[string]any)
		for _, column := range ofPerson {
			key := column
			if column == "person_name" {
				key = "name"
			}
			f.cell(person, at, key, one.cells[column], one.line)
		}
		if person["role"] == nil {
			person["role"] = channel.Keeper
		}
	}
	site["groups"], site["tanks"] = groups, tanks
	f.counts["sites"], f.counts["sites.0.groups"], f.counts["sites.0.tanks"], f.counts["people"] = 1, len(groups), len(tanks), len(people)
	return site, people
}

// cell puts a value under a key, which may be of a section of values; a key that has another
// value from an earlier line already is a problem. An empty cell says nothing.
func (f *settingsFile) cell(values map[string]any, path, key, value string, line int) {
	if value == "" {
		return
	}
	under := values
	name := key
	if section, rest, nested := strings.Cut(key, "."); nested {
		if values[section] == nil {
			values[section] = map[string]any{}
		}
		under, name = values[section].(map[string]any), rest
	}
	at := join(path, key)
	if have, said := under[name]; said && have != value {
		f.problems = append(f.problems, Problem{File: f.name, Line: line, Key: shown(at),
			What:   fmt.Sprintf("%s here, and %s on line %d", unlessHidden(key, value), unlessHidden(key, fmt.Sprint(have)), f.lines[at]),
			Remedy: "keep one of them"})
		return
	}
	under[name] = value
	if f.lines[at] == 0 {
		f.lines[at] = line
	}
}

// groupRow makes the group of a row, numbered as given, and its tank, nil where it has none.
func (f *settingsFile) groupRow(one *row, number, tankNumber int) (group, tank map[string]any) {
	at := join("sites.0.groups", strconv.Itoa(number))
	f.lines[at] = one.line
	id := one.cells["group"]
	if id == "" {
		id = "taps"
	}
	group = map[string]any{"id": id}
	for _, column := range groupColumns {
		switch column {
		case "group":
		case "group_name":
			f.cell(group, at, "name", one.cells[column], one.line)
		case "group_tree_diameter":
			f.cell(group, at, "tree_diameter", one.cells[column], one.line)
		case "tank_volume":
			if volume := one.cells[column]; volume != "" {
				tank = map[string]any{"id": id}
				f.cell(tank, join("sites.0.tanks", strconv.Itoa(tankNumber)), "volume", volume, one.line)
				f.cell(group, at, "tank", id, one.line)
			}
		default:
			f.cell(group, at, column, one.cells[column], one.line)
		}
	}
	return group, tank
}
