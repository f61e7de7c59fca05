package config

import (
	"net/mail"
	"regexp"
	"slices"
	"strings"
	"time"

	"thawline/alerts/channel"
	"thawline/alerts/message"
	"thawline/forecast/secret"
)

func (r *reader) person(at, id string, c *Config) Person {
	p := Person{
		Person: channel.Person{
			ID: id, Name: r.textOr(join(at, "name"), id),
			Role: r.oneOf(join(at, "role"), "role", []string{channel.Keeper, channel.Crew, channel.Viewer}, ""),
			Reader: message.Reader{
				Language: r.language(join(at, "language"), c.Languages, c.Language),
				Units:    r.system(join(at, "units"), c.Units),
			},
			Quiet: r.quiet(join(at, "quiet_hours")),
			Sites: r.sitesOf(join(at, "sites"), c),

			BreaksQuiet: r.oneOf(join(at, "urgent_breaks_quiet"), "answer", []string{"yes", "no"}, "no") == "yes",
		},
		Phone:    r.phone(join(at, "phone")),
		Email:    r.email(join(at, "email")),
		Gathers:  r.week(join(at, "gathers"), id),
		Channels: r.channelsOf(join(at, "channels"), c),
	}
	p.PausedUntil = r.date(join(at, "paused_until"), zoneOf(&p, c))
	return p
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
		r.fail(r.secretAt(path), "what is given is not an international telephone number", "write + and the country's code first, such as +1 802 555 0123")
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

func (r *reader) quiet(path string) channel.Quiet {
	text := r.text(path)
	if text == "" {
		return channel.Quiet{}
	}
	const remedy = "write two times of day, such as 21:00-06:00"
	m := quietHours.FindStringSubmatch(text)
	if m == nil {
		r.fail(path, text+": not a stretch of the day", remedy)
		return channel.Quiet{}
	}
	q := channel.Quiet{From: clock(m[1], m[2]), To: clock(m[3], m[4])}
	if q.From == q.To {
		r.fail(path, text+": begins and ends at the same time", remedy+", or leave it out for none")
	}
	return q
}

// clock is a time of day as a duration since midnight; both texts are digits.
func clock(hours, minutes string) time.Duration {
	d, err := time.ParseDuration(hours + "h" + minutes + "m")
	if err != nil {
		panic("config: " + err.Error())
	}
	return d
}
