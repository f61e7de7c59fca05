package config

import (
	"net"
	"net/netip"
	"regexp"
	"strings"
	"time"
)

// usualServe is how the daemon works where settings say nothing.
var usualServe = Serve{Listen: "127.0.0.1:8787", EveningAt: 18*time.Hour + 30*time.Minute, RefreshEvery: 3 * time.Hour}

// hostPort is an address to listen on.
func hostPort() kind[string] {
	return parsed(func(r *reader, path, text string) (string, bool) {
		_, port, err := net.SplitHostPort(text)
		if err != nil || port == "" {
			r.fail(path, text+": not an address to listen on", "write host and port, such as 127.0.0.1:8787")
		}
		return text, true
	})
}

var timeOfDay = regexp.MustCompile(`^([01]?[0-9]|2[0-3]):([0-5][0-9])$`)

// afternoon is a time of day from noon on.
func afternoon() kind[time.Duration] {
	return parsed(func(r *reader, path, text string) (time.Duration, bool) {
		m := timeOfDay.FindStringSubmatch(text)
		if m == nil {
			r.fail(path, text+": not a time of day", "write it like 18:30")
			return 0, false
		}
		at := clock(m[1], m[2])
		if at < 12*time.Hour {
			r.fail(path, text+": an evening text comes after noon", "write it like 18:30")
		}
		return at, true
	})
}

// proxies reads whose word is taken for where a request comes from. Where people
// come in by a link, a proxy on this machine is the usual way.
func (r *reader) proxies(path string, s *Serve) {
	given := r.list(path)
	if len(given) == 0 {
		if s.Link != "" {
			s.Proxies = []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8"), netip.MustParsePrefix("::1/128")}
		}
		return
	}
	for _, one := range given {
		p, err := netip.ParsePrefix(one.text)
		if a, alone := netip.ParseAddr(one.text); err != nil && alone == nil {
			p, err = a.Prefix(a.BitLen())
		}
		if err != nil {
			r.fail(one.at, one.text+": not an address",
				"write the address of the proxy, such as 192.168.1.2, or a network, such as 10.0.0.0/8")
			continue
		}
		s.Proxies = append(s.Proxies, p.Masked())
	}
}

// callBack reads where a gateway's call-back has number, words and id.
func (r *reader) callBack(given item) ([]CallBack, bool) {
	var c CallBack
	for part := range strings.FieldsSeq(strings.ToLower(given.text)) {
		key, path, _ := strings.Cut(part, "=")
		into := map[string]*string{"from": &c.From, "text": &c.Text, "id": &c.ID}[key]
		if into == nil || path == "" {
			c = CallBack{}
			break
		}
		*into = path
	}
	if c.From == "" || c.Text == "" {
		r.fail(given.at, given.text+": not where a call-back has number and words",
			"write from and text, and id where there is one, such as from=data.sender.number text=data.content id=data.id")
		return nil, false
	}
	return []CallBack{c}, true
}
