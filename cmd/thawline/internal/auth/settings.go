package auth

import (
	"net"
	"net/netip"
	"net/url"
	"strings"
)

// Person is somebody of the settings.
type Person struct {
	ID, Name string
	Role     Role
	Sites    []string // that concern the person, nil for all
}

// Settings are what the way in goes by.
type Settings struct {
	Listen      string         // host and port
	Link        string         // how the pages are reached from outside, "" if they are not; its path is the base path
	Proxies     []netip.Prefix // whose X-Forwarded-For is believed
	People      []Person
	AlwaysLogin bool
	Provider    Provider
}

// NeedsLogin reports whether people have to log in: others than this machine can
// reach the pages, or the settings ask for it.
func (s *Settings) NeedsLogin() bool {
	return s.AlwaysLogin || s.Link != "" || !loopback(s.Listen)
}

func loopback(hostPort string) bool {
	host, _, err := net.SplitHostPort(hostPort)
	if err != nil {
		host = strings.Trim(hostPort, "[]")
	}
	if strings.EqualFold(host, "localhost") {
		return true
	}
	a, err := netip.ParseAddr(host)
	return err == nil && a.Unmap().IsLoopback()
}

// base is the path below which the pages stand, without a slash at its end.
func (s *Settings) base() string {
	u, err := url.Parse(s.Link)
	if err != nil {
		return ""
	}
	return strings.TrimRight(u.EscapedPath(), "/")
}

// origin is scheme, host and port of the link, "" without one.
func (s *Settings) origin() string {
	u, err := url.Parse(s.Link)
	if err != nil || u.Host == "" {
		return ""
	}
	return u.Scheme + "://" + u.Host
}

func (s *Settings) secure() bool { return strings.HasPrefix(s.Link, "https:") }

func (s *Settings) person(id string) (Person, bool) {
	for _, p := range s.People {
		if p.ID == id {
			return p, true
		}
	}
	return Person{}, false
}
