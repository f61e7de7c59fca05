package config

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thawline/alerts/channel"
	"thawline/forecast/maple"
)

const member = `sites:
  - id: %s
    latitude: 44.3
    longitude: -72.6
    zone: America/New_York
    groups:
      - {id: pails, taps: 60, collected_by: pail, container: 7.5 L}
people:
  - {id: %[1]s-boss, role: keeper}
`

// load writes files beside the settings, and loads those.
func load(t *testing.T, settings string, files map[string]string) (*Config, error) {
	t.Helper()
	file := write(t, settings)
	for name, text := range files {
		if err := os.MkdirAll(filepath.Dir(name), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return Load(file, nil)
}

func idsOf(c *Config) string {
	var ids []string
	for i := range c.Sites {
		ids = append(ids, c.Sites[i].ID)
	}
	for i := range c.People {
		ids = append(ids, c.People[i].ID+"@"+strings.Join(c.People[i].Sites, "+"))
	}
	return strings.Join(ids, " ")
}

func told(c *Config) string {
	var lines []string
	for _, w := range c.Warnings {
		lines = append(lines, w.String())
	}
	return strings.Join(lines, "\n")
}

// One bad file, one that takes another's id, and one that reaches for another's
// bush are told, with line and remedy, and left out; the others stand.
func TestSitesFromAFolder(t *testing.T) {
	c, err := load(t, good+"\nsites_from: members\npeople:\n  - {id: robin, role: keeper, sites: north}", map[string]string{
		"members/a.yaml":    fmt.Sprintf(member, "north"),
		"members/b.yaml":    strings.Replace(fmt.Sprintf(member, "south"), "taps: 60", "tapps: 60", 1),
		"members/c.yaml":    fmt.Sprintf(member, "north"),
		"members/d.yaml":    strings.Replace(fmt.Sprintf(member, "east"), "role: keeper", "role: keeper, sites: north", 1),
		"members/e.yaml":    strings.Replace(fmt.Sprintf(member, "robins"), "robins-boss", "robin", 1),
		"members/f.yaml":    "units: us\n",
		"members/notes.txt": "not one of them",
		"members/w.yaml":    fmt.Sprintf(member, "west"),
	})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := idsOf(c), "hill north west north-boss@north west-boss@west robin@north"; got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
	if got, want := strings.Join(c.LeftOut, " "), "south north east robins"; got != want {
		t.Errorf("left out %s, want %s", got, want)
	}
	dir := c.SitesFrom
	want := strings.ReplaceAll(`DIR/b.yaml:7: sites[0].groups[0].tapps: no such setting here; did you mean "taps"?; until then this is left out: south
DIR/c.yaml:2: sites[0].id: north: a.yaml sites[0] has this id already; give each its own; until then this is left out: north
DIR/c.yaml:9: people[0].id: north-boss: a.yaml people[0] has this id already; give each its own
DIR/d.yaml:9: people[0].sites: north: no such site; describe it under sites; until then this is left out: east
DIR/e.yaml:9: people[0].id: robin: people[0] has this id already; give each its own; until then this is left out: robins
DIR/f.yaml:1: units: no such setting here; known here: sites, people; until then this is left out: `, "DIR", dir)
	if d := told(c); stripNoContact(d) != want {
		t.Errorf("told:\n%s\nwant:\n%s", d, want)
	}
}

func stripNoContact(s string) string {
	var out []string
	for line := range strings.SplitSeq(s, "\n") {
		if !strings.Contains(line, "weather.contact") {
			out = append(out, line)
		}
	}
	return strings.Join(out, "\n")
}

// Rows with one id are one site; what is wrong in one site's rows takes no other
// along.
func TestSitesFromATable(t *testing.T) {
	c, err := load(t, but("sites:", "sites_from: members.csv\nsites:"),
		map[string]string{"members.csv": `id,name,latitude,longitude,zone,group,taps,collected_by,container,tank_volume,vacuum,person,phone_file,colour,group_tree_diameter
north,North bush,44.3,-72.6,America/New_York,pails,60,pail,7.5 L,,,ann,ann-phone,red
north,,,,,lines,200,tubing_vacuum,,1000 L,20 inHg,bea,,,40 cm
,,,,,,,,,,,,,
west,,44.4,-72.7,America/New_York,,40,pail,7.5 L,,,cy,no-such-file,
east,,144.4,-72.7,America/New_York,,40,bag,10 L,,,,,
south,"South, the old one",44.2,-72.7,America/New_York,,30,bag,10 L,,,dee,,
south,,44.9,,,lower,20,bag,10 L,,,,,
up,,44.6,-72.5,America/New_York,,80,bag,10 L,,,,,
`, "ann-phone": "+1 802 555 0123"})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := idsOf(c), "hill north up ann@north bea@north"; got != want {
		t.Errorf("%s\nwant %s", got, want)
	}
	north := c.Sites[1]
	if len(north.Groups) != 2 || north.Groups[1].TankID != "lines" || north.Tanks[0].VolumeL != 1000 ||
		north.Groups[1].VacuumKPa < 67 || north.Groups[1].TreeDiameterM != 0.4 || north.Groups[0].TreeDiameterM != 0 || c.Sites[2].Groups[0].ID != "taps" || north.Name != "North bush" {
		t.Errorf("%+v", north)
	}
	if c.People[0].Phone.Reveal() != "+18025550123" || c.People[0].Role != channel.Keeper {
		t.Errorf("%+v", c.People[0])
	}
	file := c.SitesFrom
	want := fmt.Sprintf(`%s:1: colour: no such column here, and it is ignored; known: id, name, latitude, longitude, elevation, zone, faces, canopy, tree_diameter, shares_place, shares_litres, shares_seen, group, group_name, taps, collected_by, container, tank_volume, vacuum, tapped, species, group_tree_diameter, person, person_name, role, language, units, phone_file, email_file, channels, quiet_hours, second_language, gathers, boils, urgent_breaks_quiet, each_bush, paused_until
%[1]s:5: people[0].phone_file: no-such-file: no such file; put the secret there, alone on one line; until then this is left out: west
%[1]s:6: sites[0].latitude: 144.4: a latitude lies between -90 and 90; write degrees north, such as 44.35; until then this is left out: east
%[1]s:8: sites[0].latitude: 44.9 here, and 44.2 on line 7; keep one of them; until then this is left out: south`, file)
	if d := stripNoContact(told(c)); d != want {
		t.Errorf("told:\n%s\nwant:\n%s", d, want)
	}
}

func TestWhatSitesFromCannotBe(t *testing.T) {
	for what, want := range map[string]string{
		"nowhere":   "bush.yaml:5: sites_from: nowhere: no such file; name a folder of .yaml files or one .csv file; looked for ",
		"empty.csv": "sites_from: ", "noid.csv": "no column id",
	} {
		_, err := load(t, but("sites:", "sites_from: "+what+"\nsites:"), map[string]string{"empty.csv": "", "noid.csv": "name,taps\nx,3\n"})
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", what, err)
		}
	}
	c, err := load(t, but("sites:", "sites_from: torn.csv\nsites:"),
		map[string]string{"torn.csv": "id,latitude,longitude,zone,taps,collected_by,container\nup,44.6,-72.5,America/New_York,80,bag,10 L\n\"x,1\n"})
	if err != nil || idsOf(c) != "hill up" || !strings.Contains(told(c), "not readable as CSV") {
		t.Errorf("%v %s\n%s", err, idsOf(c), told(c))
	}
}

// A mistake in a file that was good before leaves its bush as it was.
func TestCarryKeepsWhatWasKnown(t *testing.T) {
	settings := good + "\nsites_from: members"
	before, err := load(t, settings, map[string]string{"members/a.yaml": fmt.Sprintf(member, "north"),
		"members/b.yaml": fmt.Sprintf(member, "south")})
	if err != nil {
		t.Fatal(err)
	}
	after, err := load(t, settings, map[string]string{"members/a.yaml": strings.Replace(fmt.Sprintf(member, "north"), "60", "sixty", 1)})
	if err != nil {
		t.Fatal(err)
	}
	after.Carry(before)
	if got, want := idsOf(after), "hill north north-boss@north"; got != want {
		t.Errorf("%s\nwant %s: what is gone is gone, what is broken goes on", got, want)
	}
}

// A table of ten thousand members.
func BenchmarkTableOfMembers(b *testing.B) {
	b.Chdir(b.TempDir())
	var rows strings.Builder
	rows.WriteString("id,name,latitude,longitude,elevation,zone,taps,collected_by,container,person\n")
	for i := range 10_000 {
		fmt.Fprintf(&rows, "m%d,Bush %d,%.3f,%.3f,%d m,America/New_York,%d,pail,7.5 L,p%d\n", i, i, 43.5+float64(i%97)/90,
			-72.9+float64(i%89)/80, 200+i%300, 20+i%180, i)
	}
	if err := os.WriteFile("members.csv", []byte(rows.String()), 0o600); err != nil {
		b.Fatal(err)
	}
	if err := os.WriteFile("bush.yaml", []byte(but("sites:", "sites_from: members.csv\nsites:")), 0o600); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		c, err := Load("bush.yaml", nil)
		if err != nil || len(c.Sites) != 10_001 || len(c.LeftOut) > 0 {
			b.Fatal(err, len(c.Sites), c.LeftOut)
		}
	}
}

// FuzzTable: no table of members brings the settings down, and what is taken is
// whole.
func FuzzTable(f *testing.F) {
	f.Add("id,latitude,longitude,zone,taps,collected_by,container\nup,44.6,-72.5,America/New_York,80,bag,10 L\n")
	f.Add("id,taps,person,phone_file\nx,1,y,\n\"x\n,,")
	f.Add("\xef\xbb\xbfid\n,\n")
	dir := f.TempDir()
	settings, table := filepath.Join(dir, "bush.yaml"), filepath.Join(dir, "members.csv")
	if err := os.WriteFile(settings, []byte(but("sites:", "sites_from: members.csv\nsites:")), 0o600); err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if err := os.WriteFile(table, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		c, err := Load(settings, nil)
		if err != nil {
			return
		}
		for i := range c.Sites {
			if s := &c.Sites[i]; s.Zone == nil || len(s.Groups) == 0 || s.Groups[0].Taps <= 0 || !validID(s.ID) {
				t.Errorf("%+v", s)
			}
		}
	})
}

// One person may look after several bushes of a table, if every row says the same.
func TestOnePersonAtSeveralBushesOfATable(t *testing.T) {
	c, err := load(t, but("sites:", "sites_from: members.csv\nsites:"),
		map[string]string{"members.csv": `id,latitude,longitude,zone,taps,collected_by,container,person,person_name,quiet_hours,species
north,44.3,-72.6,America/New_York,60,pail,7.5 L,ann,Ann,21:00-06:00,red maple
south,44.2,-72.7,America/New_York,30,bag,10 L,ann,Ann,,
west,44.4,-72.7,America/New_York,40,bag,10 L,ann,Anna,,
up,44.6,-72.5,America/New_York,80,bag,10 L,ann,,,
`})
	if err != nil {
		t.Fatal(err)
	}
	if got := idsOf(c); got != "hill north south up ann@north+south+up" {
		t.Errorf("%s\n%s", got, told(c))
	}
	if said := told(c); !strings.Contains(said, "members.csv:4: people[0].name: Anna here, and Ann from line 2 on") ||
		strings.Contains(said, "species") {
		t.Error(said)
	}
	for i := range c.Sites {
		if s := &c.Sites[i]; s.ID == "north" && s.Groups[0].Species != maple.Red || s.ID == "south" && s.Groups[0].Species != "" {
			t.Errorf("%s: %q", s.ID, s.Groups[0].Species)
		}
	}
	// A mistake in the rows of one of them takes neither it nor her away.
	later, err := load(t, but("sites:", "sites_from: members.csv\nsites:"),
		map[string]string{"members.csv": `id,latitude,longitude,zone,taps,collected_by,container,person,person_name,quiet_hours
north,44.3,-72.6,America/New_York,60,pail,7.5 L,ann,Ann,21:00-06:00
south,144.2,-72.7,America/New_York,30,bag,10 L,ann,Ann,
`})
	if err != nil {
		t.Fatal(err)
	}
	if later.Carry(c); idsOf(later) != "hill north south ann@north+south" {
		t.Error(idsOf(later))
	}
}
