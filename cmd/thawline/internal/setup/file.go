package setup

import (
	"fmt"
	"maps"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"thawline/alerts/message"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// groupKeys name the only group by what hangs there: texts speak of it as of any other ("Gather
// Pails", "pails 25 gal").
var groupKeys = map[volume.Method]string{volume.Pail: "init_group_pail", volume.Bag: "init_group_bag",
	volume.TubingGravity: "init_group_tubing", volume.TubingVacuum: "init_group_tubing"}

// mailPassword is the file, beside the settings, that the password of a mail account
// goes into.
const mailPassword = "mail-password"

// gatewayKey is the file for the key of a text gateway.
const gatewayKey = "gateway-key"

func (b *answers) place() weather.Place {
	return weather.Place{LatitudeDeg: b.latitude, LongitudeDeg: b.longitude, ElevationM: b.elevationM}
}

// write puts the settings into a file, and what is secret into files beside it.
func (b *answers) write(out string, w *message.Words) error {
	beside := map[string]string{}
	switch b.tell {
	case "email":
		beside[b.person+"-email"] = b.mailTo
	case "text", "modem":
		beside[b.person+"-phone"] = b.phone
	}
	if b.gatewayKey != "" {
		beside[gatewayKey] = b.gatewayKey
	}
	for _, name := range slices.Sorted(maps.Keys(beside)) {
		if err := putNew(filepath.Join(filepath.Dir(out), name), 0o600, beside[name]+"\n"); err != nil {
			return err
		}
	}
	return putNew(out, 0o600, b.yaml(w))
}

// yaml is the settings file.
func (b *answers) yaml(w *message.Words) string {
	var s strings.Builder
	line := func(indent int, setting string, comment string) {
		text := strings.Repeat(" ", indent) + setting
		if comment != "" {
			text = fmt.Sprintf("%-36s # %s", text, comment)
		}
		s.WriteString(strings.TrimRight(text, " ") + "\n")
	}
	say := func(key string) string { return w.Say(key, nil) }
	assumed := func(key string) string {
		if b.assumed[key] {
			return say("init_file_assumed")
		}
		return ""
	}
	s.WriteString("# " + w.Say("init_file_head", map[string]any{"Name": b.name}) + "\n\n")
	line(0, "units: "+string(b.units), "us, imperial, metric")
	line(0, "language: "+b.language, "")
	s.WriteString("\nweather:\n")
	line(2, "sources: ["+strings.Join(nearbyServices(b.zone), ", ")+"]", "")
	line(2, "contact: "+quoted(b.contact), "")
	s.WriteString("\nsites:\n")
	line(2, "- id: bush", "")
	line(4, "name: "+quoted(b.name), "")
	line(4, "latitude: "+weather.Coordinate(b.latitude), "")
	line(4, "longitude: "+weather.Coordinate(b.longitude), "")
	if math.IsNaN(b.elevationM) {
		line(4, "# elevation: 300 m", say("init_file_no_height"))
	} else {
		line(4, "elevation: "+b.height(), say("init_file_height"))
	}
	line(4, "zone: "+b.zone.String(), "")
	line(4, "exposure:", "")
	line(6, "canopy: closed", say("init_file_canopy"))
	line(4, "groups:", say("init_file_groups"))
	group := say(groupKeys[volume.Method(b.collectedBy)])
	line(6, "- id: "+idFrom(group), "")
	line(8, "name: "+quoted(group), "")
	line(8, fmt.Sprintf("taps: %d", b.taps), "")
	line(8, "collected_by: "+b.collectedBy, "")
	if b.container != "" {
		line(8, "container: "+quoted(b.container), assumed("init_container"))
	}
	if b.tank != "" {
		line(8, "tank: tank", "")
	}
	if b.vacuum != "" {
		line(8, "vacuum: "+quoted(b.vacuum), assumed("init_vacuum"))
	}
	line(8, "# tapped: YYYY-MM-DD", say("init_file_tapped"))
	if b.tank != "" {
		line(4, "tanks:", "")
		line(6, "- id: tank", "")
		line(8, "volume: "+quoted(b.tank), assumed("init_tank"))
	}
	s.WriteString("\npeople:\n")
	line(2, "- id: "+b.person, "")
	if b.personName != b.person {
		line(4, "name: "+quoted(b.personName), "")
	}
	line(4, "role: keeper", "")
	b.channels(line, say)
	return s.String()
}

// channels writes how the first person is reached; where nobody has said yet, it shows
// how, to be uncommented.
func (b *answers) channels(line func(indent int, setting, comment string), say func(string) string) {
	list := func(id string, settings ...string) {
		line(4, "channels: "+id, "")
		line(0, "", "")
		line(0, "channels:", "")
		line(2, "- id: "+id, "")
		for _, one := range settings {
			line(4, one, "")
		}
	}
	phone := "phone_file: " + b.person + "-phone"
	switch b.tell {
	case "later":
		line(4, "# channels: text", say("init_file_later"))
		line(4, "# "+phone, say("init_file_phone"))
		line(0, "", "")
		for _, one := range []string{"channels:", "  - id: text", "    kind: text_gateway",
			"    url: https://gateway.example.org/messages", "    form: to={to}&body={text}"} {
			line(0, "# "+one, "")
		}
	case "text":
		line(4, phone, "")
		form := "form: "
		if strings.HasPrefix(b.gatewayForm, "{") {
			form = "json: "
		}
		list("text", "kind: text_gateway", "url: "+quoted(b.gateway), form+quoted(b.gatewayForm))
		if b.gatewayKey != "" {
			line(4, `header: "Authorization: Bearer {secret}"`, say("init_file_header"))
			line(4, "secret_file: "+gatewayKey, "")
		}
	case "modem":
		line(4, phone, "")
		list("modem", "kind: gsm_modem", "outbox: "+quoted(b.outbox))
	case "ntfy":
		list("phone", "kind: ntfy", "url: "+quoted(b.server), "topic: "+b.topic)
	case "email":
		line(4, "email_file: "+b.person+"-email", "")
		list("mail", "kind: email", "host: "+quoted(b.mailHost), "port: 587", "from: "+quoted(b.mailFrom))
		line(4, "# user: "+quoted(b.mailFrom), say("init_file_login"))
		line(4, "# secret_file: "+mailPassword, "")
	}
}

// quoted is a text as YAML reads it back, whatever is in it.
func quoted(text string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(text) + `"`
}
