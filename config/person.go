package config

import (
	"net/mail"
	"regexp"
	"slices"
	"strings"
	"time"

	"thawline/alerts/channel"
	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/secret"
)

func (r *reader) person(at, id string) Person {
	p := Person{Person: channel.Person{ID: id, Name: id,
		Reader: message.Reader{Language: r.in.Language, Second: r.in.Second, Units: r.in.Units}}}
	r.fill(root.below("people"), at, &p)
	for i := range p.Boils {
		p.Boils[i].Who = id
	}
	for i := range p.Gathers {
		p.Gathers[i].Who = id
	}
	return p
}

func (r *reader) siteIDs() []string {
	ids := make([]string, len(r.in.Sites))
	for i := range r.in.Sites {
		ids[i] = r.in.Sites[i].ID
	}
	return ids
}

func (r *reader) channelIDs() []string {
	ids := make([]string, len(r.in.Channels))
	for i := range r.in.Channels {
		ids[i] = r.in.Channels[i].ID
	}
	return ids
}

// pause reads until when a person is left alone, by the clock of the person's bush.
func (r *reader) pause(path string, p *Person) {
	r.zone = zoneOf(p, r.in)
	p.PausedUntil, _ = day().read(r, path)
}

// zoneOf is the zone of the first site that concerns a person; nil without any.
func zoneOf(p *Person, c *Config) *time.Location {
	for i := range c.Sites {
		if len(p.Sites) == 0 || slices.Contains(p.Sites, c.Sites[i].ID) {
			return c.Sites[i].Zone
		}
	}
	return nil
}

var (
	phonePunctuation = strings.NewReplacer(" ", "", "-", "", "(", "", ")", "", ".", "")
	phoneNumber      = regexp.MustCompile(`^\+[1-9][0-9]{6,14}$`) // ITU-T E.164
)

// phone reads a number, without ever repeating it in an error.
func (r *reader) phone(path string) secret.Text {
	s := r.secret(path)
	number := phonePunctuation.Replace(s.Reveal())
	if number != "" && !phoneNumber.MatchString(number) {
		r.fail(r.secretAt(path), "what is given is not an international telephone number",
			"write + and the country's code first, such as +1 802 555 0123")
	}
	return secret.New(number)
}

func (r *reader) email(path string) secret.Text {
	s := r.secret(path)
	if !s.Given() {
		return s
	}
	if a, err := mail.ParseAddress(s.Reveal()); err != nil || a.Address != s.Reveal() {
		r.fail(r.secretAt(path), "what is given is not an e-mail address", "write the bare address, such as name@example.org")
	}
	return s
}

// secretAt is the path that a secret came from.
func (r *reader) secretAt(path string) string {
	if r.origin[path] != "" {
		return path
	}
	return path + fileSuffix
}

var quietHours = regexp.MustCompile(`^([01]?[0-9]|2[0-3]):([0-5][0-9])\s*[-–]\s*([01]?[0-9]|2[0-3]):([0-5][0-9])$`)

// stretch is a part of each day.
func stretch() kind[channel.Quiet] {
	const remedy = "write two times of day, such as 21:00-06:00"
	return parsed(func(r *reader, path, text string) (channel.Quiet, bool) {
		m := quietHours.FindStringSubmatch(text)
		if m == nil {
			r.fail(path, text+": not a stretch of the day", remedy)
			return channel.Quiet{}, false
		}
		q := channel.Quiet{From: clock(m[1], m[2]), To: clock(m[3], m[4])}
		if q.From == q.To {
			r.fail(path, text+": begins and ends at the same time", remedy+", or leave it out for none")
		}
		return q, true
	})
}

// clock is a time of day as a duration since midnight; both texts are digits.
func clock(hours, minutes string) time.Duration {
	d, err := time.ParseDuration(hours + "h" + minutes + "m")
	if err != nil {
		panic("config: " + err.Error())
	}
	return d
}

var weekdays = []string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

var weekHours = regexp.MustCompile(`^([a-z]{3})(?:\s*-\s*([a-z]{3}))?\s+([01]?[0-9]|2[0-3]):([0-5][0-9])\s*[-–]\s*([01]?[0-9]|2[0-3]):([0-5][0-9])$`)

// weekHours reads when somebody is free, such as mon-fri 15:30-19:00.
func (r *reader) weekHours(given item) (out []forecast.Free, ok bool) {
	const remedy = "write days and times, such as mon-fri 15:30-19:00, sat 9:00-17:00"
	path, part := given.at, strings.ToLower(given.text)
	m := weekHours.FindStringSubmatch(part)
	if m == nil {
		r.fail(path, part+": not days and times", remedy)
		return nil, false
	}
	first, last := slices.Index(weekdays, m[1]), slices.Index(weekdays, m[1])
	if m[2] != "" {
		last = slices.Index(weekdays, m[2])
	}
	from, to := clock(m[3], m[4]), clock(m[5], m[6])
	switch {
	case first < 0 || last < 0:
		r.fail(path, part+": no such day", "write "+strings.Join(weekdays, ", "))
		return nil, false
	case to <= from:
		r.fail(path, part+": ends before it begins", remedy)
		return nil, false
	}
	for d := first; ; d = (d + 1) % 7 {
		out = append(out, forecast.Free{Weekday: time.Weekday(d), From: from, To: to})
		if d == last {
			return out, true
		}
	}
}
