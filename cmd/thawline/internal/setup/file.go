package setup

import (
	"fmt"
	"math"
	"path/filepath"
	"strings"

	"thawline/alerts/message"
	"thawline/forecast/weather"
)

// mailPassword is the file, beside the settings, that the password of a mail account
// goes into.
const mailPassword = "mail-password"

func (b *answers) place() weather.Place {
	return weather.Place{LatitudeDeg: b.latitude, LongitudeDeg: b.longitude, ElevationM: b.elevationM}
}

// write puts the settings into a file, and what is secret into files beside it.
func (b *answers) write(out string, w *message.Words) error {
	if b.tell == "email" {
		if err := putNew(filepath.Join(filepath.Dir(out), b.person+"-email"), 0o600, b.mailTo+"\n"); err != nil {
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
	line(6, "- id: taps", "")
	line(8, "name: "+quoted(say("init_group_name")), "")
	line(8, fmt.Sprintf("taps: %d", b.taps), "")
	line(8, "collected_by: "+b.collectedBy, "")
	if b.container != "" {
		line(8, "container: "+quoted(b.container), "")
	}
	if b.tank != "" {
		line(8, "tank: tank", "")
	}
	if b.vacuum != "" {
		line(8, "vacuum: "+quoted(b.vacuum), "")
	}
	line(8, "# tapped: YYYY-MM-DD", say("init_file_tapped"))
	if b.tank != "" {
		line(4, "tanks:", "")
		line(6, "- id: tank", "")
		line(8, "volume: "+quoted(b.tank), "")
	}
	s.WriteString("\npeople:\n")
	line(2, "- id: "+b.person, "")
	if b.personName != b.person {
		line(4, "name: "+quoted(b.personName), "")
	}
	line(4, "role: keeper", "")
	switch b.tell {
	case "later":
		line(4, "# channels: phone", say("init_file_later"))
		s.WriteString("\n")
		line(0, "# channels:", "")
		line(0, "#   - id: phone", "")
		line(0, "#     kind: ntfy", "")
		line(0, "#     url: https://ntfy.example.org", "")
		line(0, "#     topic: "+b.topic, "")
	case "ntfy":
		line(4, "channels: phone", "")
		s.WriteString("\nchannels:\n")
		line(2, "- id: phone", "")
		line(4, "kind: ntfy", "")
		line(4, "url: "+quoted(b.server), "")
		line(4, "topic: "+b.topic, "")
	case "email":
		line(4, "email_file: "+b.person+"-email", "")
		line(4, "channels: mail", "")
		s.WriteString("\nchannels:\n")
		line(2, "- id: mail", "")
		line(4, "kind: email", "")
		line(4, "host: "+quoted(b.mailHost), "")
		line(4, "port: 587", "")
		line(4, "from: "+quoted(b.mailFrom), "")
		line(4, "# user: "+quoted(b.mailFrom), say("init_file_login"))
		line(4, "# secret_file: "+mailPassword, "")
	}
	return s.String()
}

// quoted is a text as YAML reads it back, whatever is in it.
func quoted(text string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(text) + `"`
}
