package config

import (
	"net"
	"net/netip"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"thawline/alerts"
	"thawline/forecast/units"
)

func (r *reader) serve() Serve {
	s := Serve{Listen: r.textOr("serve.listen", "127.0.0.1:8787"), EveningAt: 18*time.Hour + 30*time.Minute, RefreshEvery: 3 * time.Hour}
	if _, port, err := net.SplitHostPort(s.Listen); err != nil || port == "" {
		r.fail("serve.listen", s.Listen+": not an address to listen on", "write host and port, such as 127.0.0.1:8787")
	}
	s.Link = strings.TrimRight(r.baseURL("serve.link"), "/")
	s.AlwaysLogin = r.oneOf("serve.login", "answer", []string{"auto", "always"}, "auto") == "always"
	s.Proxies = r.proxies("serve.proxies", s.Link != "")
	if text := r.text("serve.evening_at"); text != "" {
		m := timeOfDay.FindStringSubmatch(text)
		if m == nil {
			r.fail("serve.evening_at", text+": not a time of day", "write it like 18:30")
		} else if s.EveningAt = clock(m[1], m[2]); s.EveningAt < 12*time.Hour {
			r.fail("serve.evening_at", text+": an evening text comes after noon", "write it like 18:30")
		}
	}
	if text := r.text("serve.refresh_every"); text != "" {
		d, err := time.ParseDuration(strings.ReplaceAll(text, " ", ""))
		if err != nil || d < time.Hour || d > 24*time.Hour {
			r.fail("serve.refresh_every", text+": services ask not to be asked more often than hourly", "write 1h to 24h, such as 3h")
		} else {
			s.RefreshEvery = d
		}
	}
	return s
}

// proxies reads whose word is taken for where a request comes from. Where people
// come in by a link, a proxy on this machine is the usual way.
func (r *reader) proxies(path string, linked bool) []netip.Prefix {
	given := r.list(path)
	if len(given) == 0 {
		if linked {
			return []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8"), netip.MustParsePrefix("::1/128")}
		}
		return nil
	}
	var out []netip.Prefix
	for _, one := range given {
		p, err := netip.ParsePrefix(one.text)
		if a, alone := netip.ParseAddr(one.text); err != nil && alone == nil {
			p, err = a.Prefix(a.BitLen())
		}
		if err != nil {
			r.fail(one.at, one.text+": not an address", "write the address of the proxy, such as 192.168.1.2, or a network, such as 10.0.0.0/8")
			continue
		}
		out = append(out, p.Masked())
	}
	return out
}

func (r *reader) alerts() alerts.Thresholds {
	t := alerts.Usual
	chance := func(key string) (float64, bool) {
		path := join("alerts", key)
		text := strings.TrimSpace(strings.TrimSuffix(r.text(path), "%"))
		if text == "" {
			return 0, false
		}
		x, err := strconv.ParseFloat(text, 64)
		if err != nil || x < 1 || x > 99 {
			r.fail(path, r.text(path)+": not a chance", "write 1 % to 99 %, such as 30 %")
		}
		return x / 100, true
	}
	if x, given := chance("run_chance"); given {
		t.AnnounceFrom(x)
	}
	if x, given := chance("overflow_chance"); given {
		t.OverflowProbability = x
	}
	if c, ok := r.measure("alerts.hard_freeze", units.ParseTemperature, -40, 0, "that is no hard freeze", "write the low from which full pails burst, such as -8 °C or 18 °F"); ok {
		t.FreezeC = c
	}
	if text := r.text("alerts.learners_score"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > 100 {
			r.fail("alerts.learners_score", text+": not a score", "write 1 to 100, such as 80")
		}
		t.TeachingScore = n
	}
	if text := r.text("alerts.stale_after"); text != "" {
		d, err := time.ParseDuration(strings.ReplaceAll(text, " ", ""))
		if err != nil || d < 6*time.Hour || d > 7*24*time.Hour {
			r.fail("alerts.stale_after", text+": not 6 hours to a week", "write it like 24h")
		}
		t.StaleAfter = d
	}
	return t
}

var timeOfDay = regexp.MustCompile(`^([01]?[0-9]|2[0-3]):([0-5][0-9])$`)

func (r *reader) channel(at, id string) Channel {
	c := Channel{ID: id, Kind: r.oneOf(join(at, "kind"), "kind of channel", []string{TextGateway, GSMModem, EmailKind, Webhook, Ntfy, MQTT, WebPush}, ""), Secret: r.secret(join(at, "secret"))}
	need := func(key, remedy string) string {
		text := r.text(join(at, key))
		if text == "" {
			r.fail(join(at, key), "missing for a channel of kind "+c.Kind, remedy)
		}
		return text
	}
	switch c.Kind {
	case TextGateway:
		c.URL = need("url", "write where the gateway takes messages; {to}, {text}, {key} and {secret} are filled in")
		c.Method = strings.ToUpper(r.textOr(join(at, "method"), "POST"))
		c.Form, c.JSON = r.text(join(at, "form")), r.text(join(at, "json"))
		if !slices.Contains([]string{"GET", "POST", "PUT"}, c.Method) {
			r.fail(join(at, "method"), c.Method+": not a way to send", "write POST, PUT or GET")
		}
		if all := c.URL + c.Form + c.JSON; !strings.Contains(all, "{to}") || !strings.Contains(all, "{text}") {
			r.fail(join(at, "form"), "neither url, form nor json say where {to} and {text} go", `write form: to={to}&body={text}, or json: '{"to":"{to}","body":"{text}"}'`)
		}
		if c.Form != "" && c.JSON != "" {
			r.fail(join(at, "json"), "both form and json", "keep one of them")
		}
		if text := r.text(join(at, "accepted")); text != "" {
			re, err := regexp.Compile(text)
			if err != nil {
				r.fail(join(at, "accepted"), text+": not a regular expression", `write what an accepted answer holds, such as "status": *"queued"`)
			}
			c.Accepted = re
		}
		if text := r.text(join(at, "header")); text != "" {
			name, value, found := strings.Cut(text, ":")
			if !found {
				r.fail(join(at, "header"), text+": not a header", "write it like Authorization: Bearer {secret}")
			}
			c.HeaderName, c.HeaderTemplate = strings.TrimSpace(name), strings.TrimSpace(value)
		}
	case GSMModem:
		c.Outbox = r.besideFile(join(at, "outbox"), need("outbox", "name the outbox folder of gammu-smsd, such as /var/spool/gammu/outbox"))
	case EmailKind:
		c.Host, c.From, c.User = need("host", "name the mail server"), need("from", "write the address that mail comes from"), r.text(join(at, "user"))
		c.Port = r.port(join(at, "port"), 587)
		c.Plain = r.oneOf(join(at, "security"), "security", []string{"tls", "none"}, "tls") == "none"
	case Webhook:
		c.URL = need("url", "write where messages are posted to")
		if !strings.HasPrefix(c.Secret.Reveal(), "whsec_") {
			r.fail(r.secretAt(join(at, "secret")), "the secret of a webhook begins with whsec_", "put one there that both sides know")
		}
	case MQTT:
		c.Host, c.User, c.Topic = need("host", "name the broker"), r.text(join(at, "user")), need("topic", "write the topic below which alerts and outlooks are kept, such as sugarbush/hill")
		c.Plain = r.oneOf(join(at, "security"), "security", []string{"tls", "none"}, "tls") == "none"
		c.Port = r.port(join(at, "port"), map[bool]int{true: 1883, false: 8883}[c.Plain])
		c.Discovery = r.text(join(at, "discovery"))
		for _, key := range []string{"topic", "discovery"} {
			if topic := r.text(join(at, key)); strings.ContainsAny(topic, "+# ") || strings.HasPrefix(topic, "/") || strings.HasSuffix(topic, "/") {
				r.fail(join(at, key), topic+": not a topic to publish below", "write words with / between them, such as sugarbush/hill")
			}
		}
	case Ntfy:
		c.URL, c.Topic = need("url", "write the address of the ntfy server"), need("topic", "write the topic; whoever knows it can read along")
	}
	return c
}

func (r *reader) port(path string, otherwise int) int {
	text := r.text(path)
	if text == "" {
		return otherwise
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n > 65535 {
		r.fail(path, text+": not a port", "write a number from 1 to 65535, such as "+strconv.Itoa(otherwise))
	}
	return n
}

// channelsOf reads the ids of channels, in order.
func (r *reader) channelsOf(path string, c *Config) []string {
	var known []string
	for i := range c.Channels {
		known = append(known, c.Channels[i].ID)
	}
	return r.idsOf(path, known, "channel", "describe it under channels")
}

// sitesOf reads the ids of the sites that concern a person.
func (r *reader) sitesOf(path string, c *Config) []string {
	var known []string
	for i := range c.Sites {
		known = append(known, c.Sites[i].ID)
	}
	return r.idsOf(path, known, "site", "describe it under sites")
}

func (r *reader) idsOf(path string, known []string, what, remedy string) (out []string) {
	for _, id := range r.list(path) {
		if !slices.Contains(known, id.text) {
			r.fail(id.at, id.text+": no such "+what, units.Suggest(id.text, known, remedy))
			continue
		}
		out = append(out, id.text)
	}
	return out
}
