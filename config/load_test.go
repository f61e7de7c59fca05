package config

import (
	"encoding/base64"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/boil"
	"thawline/forecast/maple"
	"thawline/forecast/secret"
	"thawline/forecast/trunk"
	"thawline/forecast/units"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
	"thawline/forecast/weather/source"
)

// write puts a file into a fresh folder, makes that the working folder and
// returns the bare name.
func write(t *testing.T, text string) string {
	t.Helper()
	t.Chdir(t.TempDir())
	if err := os.WriteFile("bush.yaml", []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return "bush.yaml"
}

func writeSecret(t *testing.T, name, text string, mode os.FileMode) {
	t.Helper()
	if err := os.WriteFile(name, []byte(text), mode); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(name, mode); err != nil {
		t.Fatal(err)
	}
}

var compare = cmp.Options{
	cmp.Comparer(func(a, b *regexp.Regexp) bool { return a == b || a != nil && b != nil && a.String() == b.String() }),
	cmpopts.EquateNaNs(),
	cmpopts.EquateApprox(1e-9, 0),
	cmp.AllowUnexported(secret.Text{}),
	cmp.Comparer(func(a, b *time.Location) bool { return a.String() == b.String() }),
}

func TestExampleLoads(t *testing.T) {
	c, err := Load(write(t, Example), []string{"HOME=/home/robin"})
	if err != nil {
		t.Fatal(err)
	}
	zone, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	want := &Config{
		File: "bush.yaml", Units: units.US, Language: "en", LanguageGiven: true, Languages: []string{"en", "fr"},
		DataDir: "/home/robin/.local/share/thawline",
		Weather: Weather{Sources: []string{source.NWSName, source.METNorwayName}, Contact: "sugarhouse@example.org"},
		Sites: []forecast.Site{{
			ID: "hill", Name: "Hill bush", Place: weather.Place{LatitudeDeg: 44.21, LongitudeDeg: -72.84, ElevationM: 411.48},
			Zone: zone, Exposure: trunk.Exposed(trunk.Closed, 135), TreeDiameterM: 0.3048,
			Groups: []forecast.Group{
				{ID: "south", Name: "South slope", Taps: 120, Method: volume.Pail, Species: maple.Sugar, ContainerL: 15.141647136,
					Tapped: time.Date(2026, 2, 20, 0, 0, 0, 0, zone)},
				{ID: "brook", Name: "Along the brook", Taps: 400, Method: volume.TubingVacuum, TankID: "big", TankL: 2271.2470704,
					VacuumKPa: 67.727772807},
			},
			Tanks: []forecast.Tank{{ID: "big", VolumeL: 2271.2470704, Kind: forecast.StorageTank}},
			Boiling: forecast.Boiling{Pan: boil.Pan{Kind: boil.Flat, AreaM2: 12 * units.MetresPerFoot * units.MetresPerFoot,
				Fuel: boil.Wood}, SyrupBrix: 66, RoomC: math.NaN()},
		}},
		People: []Person{{Person: channel.Person{ID: "robin", Name: "Robin", Role: channel.Keeper,
			Reader: message.Reader{Language: "en", Units: units.US}, Quiet: channel.Quiet{From: 21 * time.Hour, To: 6 * time.Hour}}}},
		Serve:  Serve{Listen: "127.0.0.1:8787", EveningAt: 18*time.Hour + 30*time.Minute, RefreshEvery: 3 * time.Hour},
		Alerts: alerts.Usual,
		Login:  Login{RolesClaim: "roles", PersonClaim: "preferred_username"},
		Channels: []Channel{
			{ID: "text", Kind: channel.GatewayKind,
				Options: &channel.GatewayOptions{URL: "https://gateway.example.org/messages", Method: "POST",
					Form: "to={to}&body={text}&reference={key}", Header: "Authorization: Bearer {secret}",
					Accepted: regexp.MustCompile("queued")}, Senders: 24},
			{ID: "call", Kind: channel.VoiceKind,
				Options: &channel.VoiceOptions{GatewayOptions: channel.GatewayOptions{URL: "https://calls.example.org/call",
					Method: "POST", JSON: `{"to": "{to}", "say": "{text}", "language": "{language}", "reference": "{key}"}`},
					Pressed: regexp.MustCompile("digit=1"), Heard: regexp.MustCompile("completed"), Busy: regexp.MustCompile("busy")},
				Senders: 8},
			{ID: "modem", Kind: channel.ModemKind, Options: &channel.Modem{Outbox: "/var/spool/gammu/outbox"}, Senders: 8},
			{ID: "mail", Kind: channel.EmailKind,
				Options: &channel.EmailOptions{Host: "mail.example.org", Port: 587, User: "sugarhouse", From: "sugarhouse@example.org"},
				Senders: 8},
			{ID: "push", Kind: channel.NtfyKind,
				Options: &channel.NtfyOptions{URL: "https://ntfy.example.org", Topic: "a-long-word-that-nobody-guesses"}, Senders: 8},
			{ID: "house", Kind: channel.MQTTKind,
				Options: &channel.MQTTOptions{Host: "broker.example.org", Port: 8883, User: "sugarhouse", Topic: "sugarbush",
					Discovery: "homeassistant"}, Senders: 8},
		},
	}
	if diff := cmp.Diff(want, c, compare); diff != "" {
		t.Error(diff)
	}
}

// Every commented-out setting of the example is one, and fits where it stands.
func TestExampleLoadsUncommented(t *testing.T) {
	file := write(t, strings.ReplaceAll(uncommented(), "/etc/thawline/", ""))
	writeSecret(t, "open-meteo-key", "k3y\n", 0o600)
	writeSecret(t, "gateway-key", "s3cret\n", 0o600)
	writeSecret(t, "login-secret", "s3cret\n", 0o600)
	writeSecret(t, "calls-key", "s3cret\n", 0o600)
	writeSecret(t, "members-key", base64.StdEncoding.EncodeToString(make([]byte, MembersKeyBytes))+"\n", 0o600)
	writeSecret(t, "database", "postgres://thawline:pw@db.example.org/thawline\n", 0o600)
	if err := os.Mkdir("members", 0o700); err != nil {
		t.Fatal(err)
	}
	writeSecret(t, "robin-phone", "+1 (802) 555-0123\n", 0o600)
	writeSecret(t, "robin-email", "robin@example.org\n", 0o600)
	c, err := Load(file, nil)
	if err != nil {
		t.Fatal(err)
	}
	if got := c.Weather.OpenMeteo.APIKey.Reveal(); got != "k3y" {
		t.Errorf("key %q", got)
	}
	if got := c.People[0].Phone.Reveal() + " " + c.People[0].Email.Reveal(); got != "+18025550123 robin@example.org" {
		t.Errorf("reached by %q", got)
	}
	if c.Database.Reveal() != "postgres://thawline:pw@db.example.org/thawline" {
		t.Errorf("database %q", c.Database.Reveal())
	}
	if c.DataDir != "/var/lib/thawline" || c.Weather.EnvironmentCanada.City != "qc-133" ||
		c.Weather.NWS.BaseURL != "https://nws.example.org" || len(c.Warnings) != 0 {
		t.Errorf("%+v", c)
	}
}

func TestDefaultsWithoutAFile(t *testing.T) {
	c, err := Load("", nil)
	if err != nil {
		t.Fatal(err)
	}
	want := &Config{
		Units: units.Metric, Language: "en", Languages: []string{"en", "fr"}, DataDir: "/var/lib/thawline",
		Weather: Weather{Sources: []string{source.NWSName, source.METNorwayName, source.EnvironmentCanadaName}},
		Serve:   Serve{Listen: "127.0.0.1:8787", EveningAt: 18*time.Hour + 30*time.Minute, RefreshEvery: 3 * time.Hour},
		Alerts:  alerts.Usual,
		Login:   Login{RolesClaim: "roles", PersonClaim: "preferred_username"},
		Warnings: []Problem{{
			Key: "weather.contact", What: "no contact, and nws may refuse programs that don't say whose they are",
			Remedy: "write your e-mail address or web page",
		}},
	}
	if diff := cmp.Diff(want, c, compare); diff != "" {
		t.Error(diff)
	}
}

func TestDefaultsOfASite(t *testing.T) {
	c, err := Load(write(t, good), nil)
	if err != nil {
		t.Fatal(err)
	}
	s := c.Sites[0]
	if s.Name != "hill" || !math.IsNaN(s.Place.ElevationM) || s.TreeDiameterM != 0.3 ||
		cmp.Diff(trunk.Exposed(trunk.Closed, math.NaN()), s.Exposure, compare) != "" ||
		!s.Groups[0].Tapped.IsZero() {
		t.Errorf("%+v", s)
	}
}

func TestEnvironmentStandsBeforeTheFile(t *testing.T) {
	file := write(t, good+`
    tanks:
      - {id: big, volume: 600 L}
people:
  - {id: ann-marie, role: crew}
`)
	writeSecret(t, "key", "k3y", 0o600)
	c, err := Load(file, []string{
		"PATH=/bin", "HOME=/root",
		"THAWLINE_UNITS=Imperial",
		"THAWLINE_LANGUAGE=fr",
		"THAWLINE_DATA_DIR=data",
		"THAWLINE_WEATHER_SOURCES= open_meteo, nws",
		"THAWLINE_WEATHER_CONTACT=a@example.org",
		"THAWLINE_WEATHER_OPEN_METEO_BASE_URL=http://127.0.0.1:8080/",
		"THAWLINE_WEATHER_OPEN_METEO_ENSEMBLE_BASE_URL=http://127.0.0.1:8081",
		"THAWLINE_WEATHER_OPEN_METEO_ARCHIVE_BASE_URL=http://127.0.0.1:8082/v1",
		"THAWLINE_WEATHER_OPEN_METEO_API_KEY_FILE=key",
		"THAWLINE_WEATHER_OPEN_METEO_MODEL=gem",
		"THAWLINE_WEATHER_NWS_BASE_URL=http://127.0.0.1:8083",
		"THAWLINE_SITES_HILL_NAME=Hill",
		"THAWLINE_SITES_HILL_EXPOSURE_FACES=South",
		"THAWLINE_SITES_HILL_GROUPS_SOUTH_TAPS=77",
		"THAWLINE_SITES_HILL_GROUPS_SOUTH_CONTAINER=2 gal",
		"THAWLINE_SITES_HILL_TANKS_BIG_VOLUME=",
		"THAWLINE_PEOPLE_ANN_MARIE_PHONE=+1 819 555 0142",
		"THAWLINE_CONFIG=elsewhere.yaml",
	})
	if err != nil {
		t.Fatal(err)
	}
	got := []any{
		c.Units, c.Language, c.DataDir, c.Weather, c.Sites[0].Name, c.Sites[0].Exposure.FacesDeg, c.Sites[0].Groups[0].Taps,
		c.Sites[0].Groups[0].ContainerL, c.Sites[0].Groups[0].Method, c.Sites[0].Tanks[0].VolumeL,
		c.People[0].Phone.Reveal(), c.People[0].Reader.Language, c.Warnings,
	}
	want := []any{
		units.Imperial, "fr", "data",
		Weather{
			Sources: []string{source.OpenMeteoName, source.NWSName}, Contact: "a@example.org",
			Services: source.Services{
				OpenMeteo: source.OpenMeteoOptions{
					BaseURL: "http://127.0.0.1:8080", EnsembleBaseURL: "http://127.0.0.1:8081", ArchiveBaseURL: "http://127.0.0.1:8082/v1",
					APIKey: secret.New("k3y"), Model: "gem",
				},
				NWS: source.NWSOptions{BaseURL: "http://127.0.0.1:8083"},
			},
		},
		"Hill", 180.0, 77, 9.09218, volume.Pail, 600.0, "+18195550142", "fr", []Problem(nil),
	}
	if diff := cmp.Diff(want, got, compare); diff != "" {
		t.Error(diff)
	}
}

func TestFaultsInTheEnvironment(t *testing.T) {
	_, err := Load(write(t, good), []string{
		"THAWLINE_UNITS=metrik",
		"THAWLINE_WEATHER_SOURCES=nws,nvs,nws",
		"THAWLINE_SITES_HILL_GROUPS_SOUTH_TAPS=-5",
		"THAWLINE_WEATHER_NWS_BASE_URL=ftp://nws.example.org",
	})
	wantError(t, err, `
environment: THAWLINE_UNITS: metrik: not a system of units; did you mean "metric"?
environment: THAWLINE_WEATHER_SOURCES: nvs: no such weather service here; did you mean "nws"?
environment: THAWLINE_WEATHER_SOURCES: nws: named twice; name each service once, the preferred first
environment: THAWLINE_WEATHER_NWS_BASE_URL: ftp://nws.example.org: not an http or https address; write one such as https://weather.example.org/v1
environment: THAWLINE_SITES_HILL_GROUPS_SOUTH_TAPS: -5 taps: a number of taps can't be below zero; write how many taps the group has`)
}

func TestWarnings(t *testing.T) {
	file := write(t, strings.Replace(good, "contact: a@example.org", "contact: ''", 1)+`
people:
  - id: robin
    role: keeper
    phone_file: phone
`)
	writeSecret(t, "phone", "+18025550123", 0o644)
	c, err := Load(file, []string{"THAWLINE_WEATHER_SOURCE=nws", "THAWLINE_WEATHER_SOURCES=open_meteo,met_norway",
		"THAWLINE_SITES_HLL_NAME=x"})
	if err != nil {
		t.Fatal(err)
	}
	wantError(t, Errors(c.Warnings), `
environment: THAWLINE_SITES_HLL_NAME: no setting has this name, and it is ignored; did you mean "THAWLINE_SITES_HILL_NAME"?
environment: THAWLINE_WEATHER_SOURCE: no setting has this name, and it is ignored; did you mean "THAWLINE_WEATHER_SOURCES"?
environment: THAWLINE_WEATHER_SOURCES: the free service of open_meteo is for non-commercial use only; where syrup is sold, take a key and name its file with weather.open_meteo.api_key_file, or leave this source out
bush.yaml:4: weather.contact: no contact, and met_norway may refuse programs that don't say whose they are; write your e-mail address or web page
bush.yaml:18: people[0].phone_file: phone: any account on this machine can read the secret; take that right away: chmod o= phone`)
}

func TestContactIsNotMissedWhereTheServerIsOnesOwn(t *testing.T) {
	c, err := Load("", []string{"THAWLINE_WEATHER_SOURCES=nws", "THAWLINE_WEATHER_NWS_BASE_URL=http://127.0.0.1:1"})
	if err != nil || len(c.Warnings) != 0 {
		t.Error(err, c)
	}
}

func TestMissingFile(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	_, err := Load("bush.yaml", nil)
	wantError(t, err, "\nbush.yaml: no such file; looked for "+filepath.Join(dir,
		"bush.yaml")+"; thawline init writes one, --config names another")
}

func FuzzLoad(f *testing.F) {
	f.Add([]byte(Example))
	f.Add([]byte(good))
	for _, b := range broken {
		f.Add([]byte(b.text))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		t.Chdir(t.TempDir())
		c, err := parse("bush.yaml", data, []string{"THAWLINE_UNITS=us", "THAWLINE_SITES_HILL_NAME=x"})
		if (c == nil) == (err == nil) {
			t.Fatalf("neither settings nor a fault: %v", err)
		}
		var all Errors
		if errors.As(err, &all) && strings.Count(err.Error(), "\n")+1 != len(all) {
			t.Fatalf("not one line each: %q", err)
		}
	})
}

// All who use a machine's settings share one file of records, whoever they are; what
// is written there stands before that, and the environment before all.
func TestWhereRecordsAreKept(t *testing.T) {
	for _, c := range []struct{ file, text, env, want string }{
		{"/etc/thawline/thawline.yaml", "", "HOME=/root", "/var/lib/thawline"},
		{"/etc/thawline/bush.yaml", "", "XDG_DATA_HOME=/root/data", "/var/lib/thawline"},
		{"/etc/thawline/thawline.yaml", "data_dir: /srv/sap\n", "HOME=/root", "/srv/sap"},
		{"/etc/thawline/thawline.yaml", "data_dir: /srv/sap\n", "THAWLINE_DATA_DIR=/data", "/data"},
		{"/home/robin/thawline.yaml", "", "HOME=/home/robin", "/home/robin/.local/share/thawline"},
	} {
		got, err := parse(c.file, []byte(c.text+good), []string{c.env})
		if err != nil || got.DataDir != c.want {
			t.Errorf("%+v: %v %v", c, got, err)
		}
	}
}

// A group's maples are those that the table of species has; another name is told which
// there are.
func TestSpeciesOfAGroup(t *testing.T) {
	for text, want := range map[string]maple.Species{"": "", "sugar maple": maple.Sugar, "Red_Maple": maple.Red, "other": maple.Other} {
		c, err := Load(write(t, strings.Replace(good, "taps: 120", "taps: 120\n        species: "+text, 1)), nil)
		if err != nil || len(c.Warnings) != 0 || c.Sites[0].Groups[0].Species != want {
			t.Errorf("%q: %v %+v", text, err, c)
		}
	}
	for _, text := range []string{"suger maple", "oak"} {
		_, err := Load(write(t, strings.Replace(good, "taps: 120", "taps: 120\n        species: "+text, 1)), nil)
		if err == nil || !strings.Contains(err.Error(), text+": no such species here") || !strings.Contains(err.Error(), "sugar maple") {
			t.Errorf("%s: %v", text, err)
		}
	}
	if _, err := Load(write(t, strings.Replace(good, "taps: 120", "taps: 120\n        species: oak", 1)),
		nil); !strings.Contains(fmt.Sprint(err), "use one of sugar maple, red maple, other") {
		t.Error(err)
	}
}

// A pause ends when the day begins where the person's bush is.
func TestPauseEndsWithTheDayOfTheBush(t *testing.T) {
	c, err := Load(write(t, good+"\npeople:\n  - {id: ann, role: crew, paused_until: 2026-03-28}\n"), nil)
	if err != nil {
		t.Fatal(err)
	}
	if want := time.Date(2026, 3, 28, 0, 0, 0, 0, c.Sites[0].Zone); !c.People[0].PausedUntil.Equal(want) {
		t.Errorf("%v, want %v", c.People[0].PausedUntil, want)
	}
}
