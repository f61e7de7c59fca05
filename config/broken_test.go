package config

import (
	"errors"
	"os"
	"strings"
	"testing"
)

// good is the least that describes a site; the tests break one line of it.
const good = `units: metric
weather:
  sources: [nws]
  contact: a@example.org
sites:
  - id: hill
    latitude: 44.21
    longitude: -72.84
    zone: America/New_York
    groups:
      - id: south
        taps: 120
        collected_by: pail
        container: 7.5 L`

// but returns good with some texts replaced, given in pairs.
func but(pairs ...string) string {
	text := good
	for i := 0; i < len(pairs); i += 2 {
		if !strings.Contains(text, pairs[i]) {
			panic("not in the good file: " + pairs[i])
		}
		text = strings.Replace(text, pairs[i], pairs[i+1], 1)
	}
	return text
}

func wantError(t *testing.T, err error, want string) {
	t.Helper()
	var all Errors
	if !errors.As(err, &all) {
		t.Fatalf("no Errors: %v", err)
	}
	if want = want[1:]; err.Error() != want {
		t.Errorf("got:\n%s\nwant:\n%s", err, want)
	}
}

const tubing = "collected_by: tubing_vacuum\n        tank: big\n        vacuum: 20 inHg\n    tanks:\n      - id: big\n        volume: 600 L"

var broken = []struct{ name, text, want string }{
	{"a trip that costs nothing", but("    groups:", "    gathering: {trip_worth: 0 L}\n    groups:"), `
bush.yaml:10: sites[0].gathering.trip_worth: 0 L: nobody goes for nothing, or for that much; write the least sap that a trip must save, such as 25 L or 6 gal; 1 L where every trip is worth it`},
	{"gusts that nobody minds", but("    groups:", "    gathering: {gusts: 400 km/h}\n    groups:"), `
bush.yaml:10: sites[0].gathering.gusts: 400 km/h: no bound for gusts; write from which gusts on nobody is sent into the bush, such as 60 km/h or 37 mph`},
	{"a wind chill without a unit", but("    groups:", "    gathering: {wind_chill: -28}\n    groups:"), `
bush.yaml:10: sites[0].gathering.wind_chill: -28: a number without a unit; add a unit, such as -3 °C or 27 °F`},
	{"a plan without any risk", but("    groups:", "    gathering: {accepted_risk: 0}\n    groups:"), `
bush.yaml:10: sites[0].gathering.accepted_risk: 0: not a chance; write 1 % to 99 %, such as 30 %`},
	{"misspelt key", but("taps: 120", "tap: 120"), `
bush.yaml:12: sites[0].groups[0].tap: no such setting here; did you mean "taps"?`},
	{"unknown key", but("zone:", "owner: x\n    zone:"), `
bush.yaml:9: sites[0].owner: no such setting here; known here: id, name, latitude, longitude, elevation, weather_from, zone, exposure, tree_diameter, shares, groups, tanks, gathering, boiling`},
	{"misspelt section", but("weather:", "wether:"), `
bush.yaml:2: wether: no such setting here; did you mean "weather"?`},
	{"key twice", but("taps: 120", "taps: 120\n        taps: 130"), `
bush.yaml:13: sites[0].groups[0].taps: given twice, first on line 12; keep one of them`},
	{"no taps", but("        taps: 120\n", ""), `
bush.yaml:11: sites[0].groups[0].taps: the number of taps is missing; write how many taps the group has`},
	{"taps below zero", but("taps: 120", "taps: -5"), `
bush.yaml:12: sites[0].groups[0].taps: -5 taps: a number of taps can't be below zero; write how many taps the group has`},
	{"zero taps", but("taps: 120", "taps: 0"), `
bush.yaml:12: sites[0].groups[0].taps: 0 taps: a group without taps gives no sap; write how many taps the group has, or leave the group out`},
	{"part of a tap", but("taps: 120", "taps: 12.5"), `
bush.yaml:12: sites[0].groups[0].taps: 12.5: not a whole number; write how many taps the group has`},
	{"taps in words", but("taps: 120", "taps: many"), `
bush.yaml:12: sites[0].groups[0].taps: many: not a whole number; write how many taps the group has`},
	{"taps beyond belief", but("taps: 120", "taps: 12000000"), `
bush.yaml:12: sites[0].groups[0].taps: 12000000 taps: no bush has that many; write how many taps the group has`},
	{"taps as a list", but("taps: 120", "taps: [120, 130]"), `
bush.yaml:12: sites[0].groups[0].taps: a list does not fit here; write one value`},
	{"unknown unit", but("7.5 L", "2 pints"), `
bush.yaml:14: sites[0].groups[0].container: 2 pints: "pints" is not a unit of volume; write a volume such as 7.5 L or 2 gal`},
	{"no unit", but("7.5 L", "7.5"), `
bush.yaml:14: sites[0].groups[0].container: 7.5: a number without a unit; add a unit, such as 7.5 L or 2 gal`},
	{"which gallon", but("7.5 L", "2 gal"), `
bush.yaml:14: sites[0].groups[0].container: 2 gal: "gal" may be US or imperial; write 2 US gal, 2 imp gal or litres`},
	{"container too small", but("7.5 L", "7.5 ml"), `
bush.yaml:14: sites[0].groups[0].container: 7.5 ml: no pail at a tap is that size; check the number and its unit`},
	{"container too large", but("units: metric", "units: us", "7.5 L", "20 gal"), `
bush.yaml:14: sites[0].groups[0].container: 20 gal: no pail at a tap is that size; check the number and its unit`},
	{"no container", but("\n        container: 7.5 L", ""), `
bush.yaml:11: sites[0].groups[0].container: the volume of the pail at each tap is missing; write it with its unit, such as 7.5 L or 2 gal`},
	{"volume as an elevation", but("zone:", "elevation: 20 gal\n    zone:"), `
bush.yaml:9: sites[0].elevation: 20 gal: "gal" is a unit of volume, not of length; write a length such as 410 m or 1350 ft`},
	{"too high", but("zone:", "elevation: 13500 m\n    zone:"), `
bush.yaml:9: sites[0].elevation: 13500 m: no sugar bush lies at that height; check the number and its unit`},
	{"too deep", but("zone:", "elevation: -410 m\n    zone:"), `
bush.yaml:9: sites[0].elevation: -410 m: no sugar bush lies at that height; check the number and its unit`},
	{"too stout", but("zone:", "tree_diameter: 30 in\n    exposure: {faces: sout, canopy: dense}\n    zone:", "30 in", "300 in"), `
bush.yaml:9: sites[0].tree_diameter: 300 in: no tapped tree is that wide; check the number and its unit; it is the width of the stem at breast height
bush.yaml:10: sites[0].exposure.faces: sout: no such direction here; did you mean "south"?
bush.yaml:10: sites[0].exposure.canopy: dense: no such canopy here; use one of closed, thinned, open`},
	{"latitude off the globe", but("44.21", "442.1"), `
bush.yaml:7: sites[0].latitude: 442.1: a latitude lies between -90 and 90; write degrees north, such as 44.35`},
	{"longitude off the globe", but("-72.84", "-728.4"), `
bush.yaml:8: sites[0].longitude: -728.4: a longitude lies between -180 and 180; write degrees east, below zero in the Americas, such as -72.68`},
	{"degrees and minutes", but("44.21", `44°13' N`), `
bush.yaml:7: sites[0].latitude: 44°13' N: not a number; write degrees north, such as 44.35`},
	{"not a number", but("44.21", ".nan"), `
bush.yaml:7: sites[0].latitude: .nan: not a number; write degrees north, such as 44.35`},
	{"no place", but("    latitude: 44.21\n    longitude: -72.84\n    zone: America/New_York\n", ""), `
bush.yaml:6: sites[0].latitude: the latitude is missing; write degrees north, such as 44.35
bush.yaml:6: sites[0].longitude: the longitude is missing; write degrees east, below zero in the Americas, such as -72.68
bush.yaml:6: sites[0].zone: the time zone is missing; write its IANA name, such as America/New_York`},
	{"at sea", but("44.21", "43.0", "-72.84", "-68.0"), `
bush.yaml:7: sites[0].latitude: 43, -68 lies at sea, with no land within half a degree; check latitude and longitude, their order and their signs (west is below zero)`},
	{"sign of the longitude", but("-72.84", "72.84"), `
bush.yaml:9: sites[0].zone: America/New_York keeps clocks 9.9 h away from the sun at longitude 72.8; check the zone and the sign of the longitude`},
	{"clock of another coast", but("America/New_York", "America/Los_Angeles", "-72.84", "-72.68"), `
bush.yaml:9: sites[0].zone: America/Los_Angeles keeps clocks 3.2 h away from the sun at longitude -72.7; check the zone and the sign of the longitude`},
	{"misspelt zone", but("America/New_York", "America/NewYork"), `
bush.yaml:9: sites[0].zone: America/NewYork: no such time zone; did you mean "America/New_York"?`},
	{"no such zone", but("America/New_York", "Local"), `
bush.yaml:9: sites[0].zone: Local: no such time zone; write its IANA name, such as America/New_York`},
	{"unknown source", but("[nws]", "[nws, met_norwy]"), `
bush.yaml:3: weather.sources[1]: met_norwy: no such weather service here; did you mean "met_norway"?`},
	{"source twice", but("[nws]", "[nws, nws]"), `
bush.yaml:3: weather.sources[1]: nws: named twice; name each service once, the preferred first`},
	{"no source", but("[nws]", "[]"), `
bush.yaml:3: weather.sources: no weather service is named; name at least one of ` + serviceNames},
	{"list in a list", but("[nws]", "[[nws], nws]"), `
bush.yaml:3: weather.sources[0]: a list does not fit here; write one value`},
	{"source as settings", but("[nws]", "{first: nws}"), `
bush.yaml:3: weather.sources: a group of settings does not fit here; write a list, such as [a, b]`},
	{"no address", but("contact:", "nws: {base_url: nws.example.org}\n  contact:"), `
bush.yaml:4: weather.nws.base_url: nws.example.org: not an http or https address; write one such as https://weather.example.org/v1`},
	{"unknown method", but("collected_by: pail", "collected_by: pial"), `
bush.yaml:13: sites[0].groups[0].collected_by: pial: no such way of collecting here; did you mean "pail"?`},
	{"no method", but("        collected_by: pail\n", ""), `
bush.yaml:11: sites[0].groups[0].collected_by: the way of collecting is missing; write one of pail, bucket, bag, tubing_gravity, tubing_vacuum`},
	{"vacuum on a pail", but("7.5 L", "7.5 L\n        vacuum: 20 inHg\n        tank: big"), `
bush.yaml:15: sites[0].groups[0].vacuum: 20 inHg: given for pail, but only tubing can be under vacuum; leave it out or change collected_by
bush.yaml:16: sites[0].groups[0].tank: big: given for pail, but a tank is where tubing ends: one that pails are emptied into stands under tanks alone; leave it out or change collected_by`},
	{"bare tubing", but("collected_by: pail", "collected_by: tubing_vacuum"), `
bush.yaml:11: sites[0].groups[0].tank: the tank that the tubing ends in is missing; name it by its id and describe it under the site's tanks
bush.yaml:11: sites[0].groups[0].vacuum: the vacuum of the line is missing; write what the gauge shows, such as 20 inHg or 68 kPa
bush.yaml:14: sites[0].groups[0].container: 7.5 L: given for tubing_vacuum, but tubing has no container at the tap; leave it out or change collected_by`},
	{"vacuum beyond any pump", but("collected_by: pail\n        container: 7.5 L", tubing, "20 inHg", "980 hPa"), `
bush.yaml:15: sites[0].groups[0].vacuum: 980 hPa: no pump pulls that much; write what the gauge shows, at most 95 kPa or 28 inHg`},
	{"vacuum on gravity", but("collected_by: pail\n        container: 7.5 L", tubing, "tubing_vacuum", "tubing_gravity"), `
bush.yaml:15: sites[0].groups[0].vacuum: 20 inHg: given for tubing_gravity, but only tubing_vacuum has a pump; leave it out or change collected_by`},
	{"no such tank", but("collected_by: pail\n        container: 7.5 L", tubing, "tank: big", "tank: bigg"), `
bush.yaml:14: sites[0].groups[0].tank: bigg: no such tank at this site; did you mean "big"?`},
	{"tank of no size", but("collected_by: pail\n        container: 7.5 L", tubing, "volume: 600 L", "kind: heap"), `
bush.yaml:17: sites[0].tanks[0].volume: the volume of the tank is missing; write it with its unit, such as 7.5 L or 2 gal
bush.yaml:18: sites[0].tanks[0].kind: heap: no such kind of tank here; use one of gathering, storage`},
	{"American date", but("taps: 120", "taps: 120\n        tapped: 02/20/2026"), `
bush.yaml:13: sites[0].groups[0].tapped: 02/20/2026: not a date; write year-month-day, such as 2026-02-20`},
	{"day that never comes", but("taps: 120", "taps: 120\n        tapped: 2026-02-30"), `
bush.yaml:13: sites[0].groups[0].tapped: 2026-02-30: not a date; write year-month-day, such as 2026-02-20`},
	{"same group twice", good + "\n      - {id: South, taps: 1, collected_by: bag, container: 15 L}", `
bush.yaml:15: sites[0].groups[1].id: South: sites[0].groups[0] has this id already; give each its own`},
	{"id with spaces", but("id: hill", "id: the hill"), `
bush.yaml:6: sites[0].id: the hill: an id is made of letters, digits, hyphens and underscores, at most 40; shorten it, such as hill or south-slope; the name may be anything`},
	{"no id", but("- id: south\n        taps", "- taps"), `
bush.yaml:11: sites[0].groups[0].id: the id is missing; give it a short one, such as hill or south-slope`},
	{"no groups", but("\n    groups:\n      - id: south\n        taps: 120\n        collected_by: pail\n        container: 7.5 L", ""), `
bush.yaml:6: sites[0].groups: no group of taps is described; write at least one, beginning with "- id:"`},
	{"groups as settings", but("- id: south", "  id: south"), `
bush.yaml:11: sites[0].groups: a group of settings does not fit here; write a list, each entry beginning with "- id:"`},
	{"a list for the weather", but("  sources: [nws]\n  contact: a@example.org", "  - nws"), `
bush.yaml:3: weather: a list does not fit here; write settings with names below it: sources, contact, ` + serviceNames},
	{"bare entry", "sites: [hill]", `
bush.yaml:1: sites[0]: a single value does not fit here; write settings with names: id, name, latitude, longitude, elevation, weather_from, zone, exposure, tree_diameter, shares, groups, tanks, gathering, boiling`},
	{"no sites", "units: us", `
bush.yaml: sites: no site is described; write where the sugar bush is and what hangs there, as the example that thawline init writes does`},
	{"empty file", "# nothing yet\n", `
bush.yaml: sites: no site is described; write where the sugar bush is and what hangs there, as the example that thawline init writes does`},
	{"a list of everything", "- units: us\n", `
bush.yaml:1: the file is a list, not settings with names; begin it with lines such as units: metric`},
	{"two documents", good + "\n---\nunits: us\n", `
bush.yaml:15: a second document begins here; keep all settings in one, without a line of ---`},
	{"tab", but("        taps", "\ttaps"), `
bush.yaml:12: a tab at the start of the line; indent with spaces`},
	{"open bracket", but("[nws]", "[nws"), `
bush.yaml:3: not readable as YAML: did not find expected ',' or ']'; mend its spaces, quotes, colons or brackets`},
	{"lost indent", but("    zone:", "   zone:"), `
bush.yaml:9: not readable as YAML: did not find expected '-' indicator; mend its spaces, quotes, colons or brackets`},
	{"alias", but("id: hill", "id: &a hill", "id: south", "id: *a"), `
bush.yaml:11: sites[0].groups[0].id: an alias (*a) does not fit here; write one value`},
	{"merged settings", but("id: hill", "<<: {}\n    id: hill"), `
bush.yaml:6: sites[0]: a key must be a plain word; write one of id, name, latitude, longitude, elevation, weather_from, zone, exposure, tree_diameter, shares, groups, tanks, gathering, boiling`},
	{"key in the file", but("contact:", "open_meteo:\n    apikey: k3y\n  contact:"), `
bush.yaml:5: weather.open_meteo.apikey: a secret does not belong in the settings file; put it alone in a file and name that with api_key_file, or set THAWLINE_WEATHER_OPEN_METEO_API_KEY`},
	{"number in the file", good + "\npeople:\n  - {id: ann-marie, role: crew, phone: +18025550123}", `
bush.yaml:16: people[0].phone: a secret does not belong in the settings file; put it alone in a file and name that with phone_file, or set THAWLINE_PEOPLE_ANN_MARIE_PHONE`},
	{"password in the file", but("contact:", "password: k3y\n  contact:"), `
bush.yaml:4: weather.password: looks like a secret, and no setting here takes one; take it out of the file`},
	{"no secret there", good + "\npeople:\n  - {id: robin, role: crew, phone_file: none}", `
bush.yaml:16: people[0].phone_file: none: no such file; put the secret there, alone on one line`},
	{"empty secret", good + "\npeople:\n  - {id: robin, role: crew, email_file: empty}", `
bush.yaml:16: people[0].email_file: empty: the file is empty; put the secret there, alone on one line`},
	{"folder for a secret", good + "\npeople:\n  - {id: robin, role: crew, email_file: .}", `
bush.yaml:16: people[0].email_file: .: not an ordinary file; put the secret there, alone on one line`},
	{"long secret", good + "\npeople:\n  - {id: robin, role: crew, email_file: lines, phone_file: large}", `
bush.yaml:16: people[0].phone_file: large: larger than any secret; put the secret there, alone on one line
bush.yaml:16: people[0].email_file: lines: the file holds more than one line; put the secret there, alone on one line`},
	{"not a number, not an address", good + "\npeople:\n  - {id: robin, role: crew, phone_file: word, email_file: word}", `
bush.yaml:16: people[0].phone_file: what is given is not an international telephone number; write + and the country's code first, such as +1 802 555 0123
bush.yaml:16: people[0].email_file: what is given is not an e-mail address; write the bare address, such as name@example.org`},
	{"people", good + "\npeople:\n  - {id: robin, role: boss, language: de, units: kg, quiet_hours: 9pm to 6}\n  - {id: robin, role: crew, quiet_hours: 6:00-06:00}", `
bush.yaml:16: people[0].role: boss: no such role here; use one of keeper, crew, viewer
bush.yaml:16: people[0].language: de: no such language here; use one of en, fr
bush.yaml:16: people[0].units: kg: not a system of units; use us, imperial or metric
bush.yaml:16: people[0].quiet_hours: 9pm to 6: not a stretch of the day; write two times of day, such as 21:00-06:00
bush.yaml:17: people[1].id: robin: people[0] has this id already; give each its own
bush.yaml:17: people[1].quiet_hours: 6:00-06:00: begins and ends at the same time; write two times of day, such as 21:00-06:00, or leave it out for none`},
	{"everything at once", but("metric", "metrik", "[nws]", "[nvs]", "44.21", "north", "taps: 120", "tasp: 120", "7.5 L", "7.5"), `
bush.yaml:1: units: metrik: not a system of units; did you mean "metric"?
bush.yaml:3: weather.sources[0]: nvs: no such weather service here; did you mean "nws"?
bush.yaml:7: sites[0].latitude: north: not a number; write degrees north, such as 44.35
bush.yaml:12: sites[0].groups[0].tasp: no such setting here; did you mean "taps"?
bush.yaml:14: sites[0].groups[0].container: 7.5: a number without a unit; add a unit, such as 7.5 L or 2 gal`},
	{"control characters", but("taps: 120", `taps: "1\n\r2"`), `
bush.yaml:12: sites[0].groups[0].taps: 1 2: not a whole number; write how many taps the group has`},
}

func TestBrokenFiles(t *testing.T) {
	for _, b := range broken {
		t.Run(b.name, func(t *testing.T) {
			file := write(t, b.text)
			writeSecret(t, "empty", " \n", 0o600)
			writeSecret(t, "lines", "a@example.org\nb@example.org\n", 0o600)
			writeSecret(t, "large", strings.Repeat("1", 5000), 0o600)
			writeSecret(t, "word", "word", 0o600)
			_, err := Load(file, nil)
			wantError(t, err, b.want)
			if strings.Contains(err.Error(), "k3y") || strings.Contains(err.Error(), "5550123") {
				t.Errorf("repeats a secret: %s", err)
			}
		})
	}
}

func TestUnreadableFiles(t *testing.T) {
	t.Chdir(t.TempDir())
	if err := os.WriteFile("huge.yaml", make([]byte, maxFileBytes+1), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{"huge.yaml": "larger than any settings file",
		".": "the file can't be read: read .: is a directory"} {
		_, err := Load(name, nil)
		var all Errors
		if !errors.As(err, &all) || len(all) != 1 || all[0].What != want || all[0].File != name {
			t.Errorf("%s: %v", name, err)
		}
	}
}
