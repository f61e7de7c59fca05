package config

import (
	"bytes"
	"encoding/base64"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"thawline/forecast/secret"
	"thawline/forecast/units"
)

// What a Described is.
const (
	Bush   = "bush"
	Member = "person"
)

// Described is a bush or a person as a settings file would describe it, kept in the
// database.
type Described struct {
	Kind   string         // Bush or Member
	ID     string         // as in Values
	Values map[string]any // by the keys of the settings file: texts, lists and maps of them
	// Phone and Email of a person, "" where not given.
	Phone, Email secret.Text
	// Serial is another one for whatever is described otherwise, 0 where nobody has counted.
	Serial int64
}

func (d *Described) list() string {
	if d.Kind == Bush {
		return "sites"
	}
	return "people"
}

// MembersKeyBytes is how long the key of members' numbers is.
const MembersKeyBytes = 32

// membersKey reads a key, or the new one before those that it takes the place of, without ever
// repeating one in an error.
func (r *reader) membersKey(path string) secret.Text {
	s := r.secret(path)
	if !s.Given() {
		return s
	}
	for _, one := range strings.Fields(s.Reveal()) {
		if key, err := base64.StdEncoding.DecodeString(one); err != nil || len(key) != MembersKeyBytes {
			r.fail(r.secretAt(path), "what is given is not a key of 32 bytes in base64", `let "thawline members key" write one`)
			break
		}
	}
	return s
}

// Add takes bushes and people that are kept elsewhere into the settings, bushes before
// people. What is wrong with one keeps that one out and is told as a warning; the others
// go on. A person has rights over the bushes that are named alone.
func (c *Config) Add(described []Described) { c.add(described, nil) }

func (c *Config) add(described []Described, memory *Adder) {
	c.Sites, c.People, c.Warnings, c.LeftOut = slices.Clip(c.Sites), slices.Clip(c.People), slices.Clip(c.Warnings), slices.Clip(c.LeftOut)
	sites, people := seenIDs{}, seenIDs{}
	for i := range c.Sites {
		sites[envName([]string{c.Sites[i].ID})] = "the settings file"
	}
	for i := range c.People {
		people[envName([]string{c.People[i].ID})] = "the settings file"
	}
	for _, kind := range []string{Bush, Member} {
		at := map[string]int{}
		for i := range c.Sites {
			at[c.Sites[i].ID] = i
		}
		for i := range described {
			d := &described[i]
			if d.Kind != kind {
				continue
			}
			seen := people
			if kind == Bush {
				seen = sites
			}
			became := memory.known(d, seen, at)
			if became == nil {
				became = c.read(d, seen, at)
				memory.remember(d, became, at)
			}
			c.take(d, became)
		}
	}
}

// read reads one. at finds sites by their ids.
func (c *Config) read(d *Described, seen seenIDs, at map[string]int) *added {
	out := &added{}
	one, entry, problems := d.reader()
	if len(problems) == 0 {
		own := *c
		own.Sites, own.Warnings = nil, nil
		one.in = &own
		switch d.Kind {
		case Bush:
			s := one.site(entry, one.id(entry, seen))
			out.site = &s
		default:
			var named []any
			for _, id := range one.list(join(entry, "sites")) {
				out.named = append(out.named, id.text)
				if i, known := at[id.text]; known {
					own.Sites, named = append(own.Sites, c.Sites[i]), append(named, id.text)
				}
			}
			one.v.Set(join(entry, "sites"), named)
			p := one.person(entry, one.id(entry, seen))
			p.Member = true
			if p.Sites == nil {
				p.Sites = []string{}
			}
			out.person = &p
		}
		problems = one.wrong()
		out.warnings = one.warnings
	}
	for i := range problems {
		problems[i].LeftOut = true
	}
	out.problems = problems
	return out
}

// reader reads the values as a part of a settings file.
func (d *Described) reader() (r *reader, entry string, problems []Problem) {
	name := d.Kind + " " + d.ID
	data, err := json.Marshal(map[string]any{d.list(): []any{d.Values}}) // which is YAML
	if err != nil {
		return nil, "", []Problem{{File: name, What: err.Error(), Remedy: "write it anew"}}
	}
	source := newSettingsFile(name, &part)
	v, err := layers(source, data)
	if err != nil {
		return nil, "", []Problem{{File: name, What: err.Error(), Remedy: "write it anew"}}
	}
	entry = join(d.list(), "0")
	for key, value := range map[string]secret.Text{"phone": d.Phone, "email": d.Email} {
		if value.Given() {
			v.Set(join(entry, key), value.Reveal())
		}
	}
	r = &reader{v: v, file: name, source: source, where: name + " "}
	return r, entry, nil
}

// wrong are the problems of a part, without the lines and lists that nobody has written.
func (r *reader) wrong() []Problem {
	out := slices.Concat(r.source.problems, r.problems)
	for i := range out {
		out[i].Line = 0
		for _, list := range []string{"sites[0].", "people[0]."} {
			out[i].Key = strings.TrimPrefix(out[i].Key, list)
		}
	}
	return out
}

// ReadMembers reads bushes and people from a CSV table with the columns of sites_from,
// and phone and email beside them. It returns what can be read and what is wrong with the
// table itself; whether the values do is told by Add.
func ReadMembers(name string, data []byte) (out []Described, problems []Problem) {
	r := &reader{file: name, source: newSettingsFile(name, &part)}
	doubt := func(line int, what, remedy string, leftOut bool) {
		problems = append(problems, Problem{File: name, Line: line, What: what, Remedy: remedy, LeftOut: leftOut})
	}
	in := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\ufeff"))))
	in.FieldsPerRecord, in.TrimLeadingSpace = -1, true
	head, err := in.Read()
	const begin = "begin the table with a head: id,name,latitude,longitude,zone,taps,collected_by,container,person,role,phone"
	if err != nil {
		doubt(1, "no table", begin, true)
		return nil, problems
	}
	known := slices.Concat([]string{"id"}, siteColumns, groupColumns, personColumns, hiddenColumns)
	for i, column := range head {
		head[i] = strings.ToLower(strings.TrimSpace(column))
		if !slices.Contains(known, head[i]) {
			doubt(1, column+": no such column here, and it is ignored",
				units.Suggest(head[i], known, "known: "+strings.Join(known, ", ")), false)
		}
	}
	if !slices.Contains(head, "id") {
		doubt(1, "no column id", begin, true)
		return nil, problems
	}
	ids, of := r.tableRows(in, head, doubt)
	told := map[string]toldPerson{}
	at := map[string]int{} // of people in out
	for _, id := range ids {
		source := newSettingsFile(name, &part)
		site, persons := source.rows(of[id], slices.Concat(personColumns[1:], hiddenColumns))
		fresh, again := source.tellApart(persons, told)
		if len(source.problems) > 0 {
			for _, p := range source.problems {
				p.LeftOut = true
				problems = append(problems, p)
			}
			continue
		}
		if _, described := site["name"]; described || len(site["groups"].([]any)) > 0 {
			out = append(out, Described{Kind: Bush, ID: id, Values: site})
		}
		for _, path := range fresh {
			i, _ := strconv.Atoi(strings.TrimPrefix(path, "people."))
			values := persons[i].(map[string]any)
			who := values["id"].(string)
			told[who], at[who] = toldPerson{maps.Clone(values), source.lines[path]}, len(out)
			out = append(out, memberOf(values, id))
		}
		for _, who := range again {
			values := out[at[who]].Values
			values["sites"] = append(slices.Clone(values["sites"].([]any)), id)
		}
	}
	return out, problems
}

// memberOf is a person of a bush, with number and address apart from the rest.
func memberOf(values map[string]any, site string) Described {
	d := Described{Kind: Member, ID: fmt.Sprint(values["id"]), Values: values}
	for key, into := range map[string]*secret.Text{"phone": &d.Phone, "email": &d.Email} {
		if text, given := values[key].(string); given {
			*into = secret.New(text)
		}
		delete(values, key)
	}
	values["sites"] = []any{site}
	return d
}
