package config

import (
	"strings"
	"testing"

	"thawline/alerts/channel"
	"thawline/forecast/weather/source"
)

// Each kind of channel says what it lacks and how to mend it.
func TestBrokenChannels(t *testing.T) {
	for _, b := range []struct{ name, channel, want string }{
		{"no kind", "{id: x}", `
bush.yaml:16: channels[0].kind: the kind of channel is missing; write one of ` + kindNames},
		{"unknown kind", "{id: x, kind: pigeon}", `
bush.yaml:16: channels[0].kind: pigeon: no such kind of channel here; use one of ` + kindNames},
		{"gateway without anything", "{id: x, kind: text_gateway}", `
bush.yaml:16: channels[0].url: missing for a channel of kind text_gateway; write where the gateway takes messages; {to}, {text}, {key} and {secret} are filled in
bush.yaml:16: channels[0].form: neither url, form nor json say where {to} and {text} go; write form: to={to}&body={text}, or json: '{"to":"{to}","body":"{text}"}'`},
		{"gateway", "{id: x, kind: text_gateway, url: 'https://g.example.org', method: fax, form: 'to={to}&t={text}', json: '{}', accepted: '(', header: Bearer}", `
bush.yaml:16: channels[0].method: FAX: not a way to send; write POST, PUT or GET
bush.yaml:16: channels[0].json: both form and json; keep one of them
bush.yaml:16: channels[0].accepted: (: not a regular expression; write what an accepted answer holds, such as "status": *"queued"
bush.yaml:16: channels[0].header: Bearer: not a header; write it like Authorization: Bearer {secret}`},
		{"modem", "{id: x, kind: gsm_modem}", `
bush.yaml:16: channels[0].outbox: missing for a channel of kind gsm_modem; name the outbox folder of gammu-smsd, such as /var/spool/gammu/outbox`},
		{"mail", "{id: x, kind: email, host: m.example.org, port: mail, security: some}", `
bush.yaml:16: channels[0].from: missing for a channel of kind email; write the address that mail comes from
bush.yaml:16: channels[0].port: mail: not a port; write a number from 1 to 65535, such as 587
bush.yaml:16: channels[0].security: some: no such security here; did you mean "none"?`},
		{"webhook", "{id: x, kind: webhook, url: 'https://h.example.org'}", `
bush.yaml:16: channels[0].secret_file: the secret of a webhook begins with whsec_; put one there that both sides know`},
		{"webhook with an open secret", "{id: x, kind: webhook, url: 'https://h.example.org', secret: whsec_k3y}", `
bush.yaml:16: channels[0].secret: a secret does not belong in the settings file; put it alone in a file and name that with secret_file, or set THAWLINE_CHANNELS_X_SECRET
bush.yaml:16: channels[0].secret_file: the secret of a webhook begins with whsec_; put one there that both sides know`},
		{"ntfy", "{id: x, kind: ntfy}", `
bush.yaml:16: channels[0].url: missing for a channel of kind ntfy; write the address of the ntfy server
bush.yaml:16: channels[0].topic: missing for a channel of kind ntfy; write the topic; whoever knows it can read along`},
		{"mqtt", "{id: x, kind: mqtt, topic: 'sap/#', discovery: /home, port: 70000}", `
bush.yaml:16: channels[0].host: missing for a channel of kind mqtt; name the broker
bush.yaml:16: channels[0].port: 70000: not a port; write a number from 1 to 65535, such as 8883
bush.yaml:16: channels[0].topic: sap/#: not a topic to publish below; write words with / between them, such as sugarbush/hill
bush.yaml:16: channels[0].discovery: /home: not a topic to publish below; write words with / between them, such as sugarbush/hill`},
		{"two of a name", "{id: x, kind: web_push}\n  - {id: x, kind: web_push}", `
bush.yaml:17: channels[1].id: x: channels[0] has this id already; give each its own`},
	} {
		t.Run(b.name, func(t *testing.T) {
			_, err := Load(write(t, good+"\nchannels:\n  - "+b.channel), nil)
			wantError(t, err, b.want)
		})
	}
}

// What there is to choose from is told whole, also after an addition.
var (
	serviceNames = strings.Join(source.Names(), ", ")
	kindNames    = func() string {
		var names []string
		for _, k := range channel.Kinds() {
			names = append(names, k.Name)
		}
		return strings.Join(names, ", ")
	}()
)
