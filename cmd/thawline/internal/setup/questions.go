package setup

import (
	"errors"
	"fmt"
	"math"
	"net/mail"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/cli"
	"thawline/config"
	"thawline/forecast/units"
	"thawline/forecast/volume"
)

func newAnswers() *answers {
	return &answers{elevationM: math.NaN(), topic: secretTopic(), assumed: map[string]bool{}}
}

// askAll puts all questions, and at the end shows what was answered.
func askAll(q *questions, c *config.Config, resume bool) (*answers, error) {
	b := newAnswers()
	q.tell("init_hello", nil)
	list := b.questions(c, q.words)
	switch {
	case resume:
		q.kept.resume(list)
	case len(q.kept.Answers) > 0:
		q.tell("init_earlier", nil)
	}
	if err := q.askEach(list); err != nil {
		return nil, err
	}
	return b, q.confirm(list)
}

// questions are all there are, in their order: later ones depend on earlier answers.
func (b *answers) questions(c *config.Config, w *message.Words) []question {
	tubing := func() bool {
		return b.collectedBy == string(volume.TubingGravity) || b.collectedBy == string(volume.TubingVacuum)
	}
	hangs := func() bool { return !tubing() }
	pump := func() bool { return b.collectedBy == string(volume.TubingVacuum) }
	tell := func(how ...string) func() bool { return func() bool { return slices.Contains(how, b.tell) } }
	plain := func(s string) func() string { return func() string { return s } }
	said := func(key, value string, from func() string) func() string {
		return func() string {
			if from() == "" {
				return ""
			}
			return w.Say(key, map[string]any{value: from()})
		}
	}
	guess := func() string { return b.guessed }
	list := []question{
		{key: "init_place", take: b.takePlace, heard: said("init_zone", "Zone", func() string { return b.zone.String() })},
		{key: "init_name", usual: plain(w.Say("init_usual_name", nil)), take: word(&b.name, 60), later: true},
		{key: "init_units", usual: func() string { return string(b.usualUnits(c)) }, options: systems,
			take: func(s string) (err error) { b.units, err = units.ParseSystem(s); return err }, later: true},
		{key: "init_taps", take: b.takeTaps, heard: func() string { return w.PluralWith("init_taps_heard", b.taps, nil) },
			exact: func() string { return strconv.Itoa(b.taps) }},
		{key: "init_collected", usual: plain(string(volume.Pail)), options: ways, take: oneOf(&b.collectedBy, ways...)},
		{key: "init_container", asked: hangs, take: b.takeVolume(&b.container, 1, 40), heard: said("init_understood", "What", guess),
			exact: func() string { return b.container }, assumed: b.assumedContainer, later: true},
		{key: "init_tank", asked: tubing, take: b.takeVolume(&b.tank, 5, 1e6), heard: said("init_understood", "What", guess),
			exact: func() string { return b.tank }, assumed: b.assumedTank, later: true},
		{key: "init_vacuum", asked: pump, take: b.takeVacuum, heard: said("init_understood", "What", guess),
			exact: func() string { return b.vacuum }, assumed: plain("20 inHg"), later: true},
		{key: "init_person", take: b.takePerson},
		{key: "init_contact", usual: plain(c.Weather.Contact), take: contact(&b.contact)},
		{key: "init_tell", usual: plain("later"), options: tellings, take: oneOf(&b.tell, tellings...), later: true},
		{key: "init_phone", asked: tell("text", "modem"), take: b.takePhone,
			heard: func() string { return w.Say("init_understood", map[string]any{"What": b.phone}) },
			exact: func() string { return b.phone }, later: true},
		{key: "init_gateway", asked: tell("text"), take: address(&b.gateway), later: true},
		{key: "init_gateway_form", usual: plain("to={to}&body={text}"), asked: tell("text"), take: request(&b.gatewayForm), later: true},
		{key: "init_gateway_key", asked: tell("text"), take: func(s string) error { b.gatewayKey = s; return nil }, secret: true,
			later: true},
		{key: "init_outbox", usual: plain("/var/spool/gammu/outbox"), asked: tell("modem"), take: word(&b.outbox, 200), later: true},
		{key: "init_server", asked: tell("ntfy"), take: address(&b.server), later: true},
		{key: "init_mail_host", asked: tell("email"), take: word(&b.mailHost, 200), later: true},
		{key: "init_mail_from", asked: tell("email"), take: mailbox(&b.mailFrom), later: true},
		{key: "init_mail_to", asked: tell("email"), take: mailbox(&b.mailTo), later: true},
	}
	for i := range list {
		if list[i].usual == nil {
			list[i].usual = plain("")
		}
		if list[i].asked == nil {
			list[i].asked = func() bool { return true }
		}
	}
	return list
}

var (
	systems  = []string{string(units.US), string(units.Imperial), string(units.Metric)}
	ways     = []string{string(volume.Pail), string(volume.Bag), string(volume.TubingGravity), string(volume.TubingVacuum)}
	tellings = []string{"text", "modem", "ntfy", "email", "later"}
)

// assumedContainer is what is commonly hung, the smaller of the usual sizes, so that
// warnings come early (common practice).
func (b *answers) assumedContainer() string {
	return map[units.System]string{units.US: "2 US gal", units.Imperial: "2 imp gal", units.Metric: "9 L"}[b.units]
}

// assumedTank holds a good day of every tap (common practice: two gallons a tap).
func (b *answers) assumedTank() string {
	size := max(b.taps*2, 50)
	switch b.units {
	case units.US:
		return fmt.Sprintf("%d US gal", size)
	case units.Imperial:
		return fmt.Sprintf("%d imp gal", size)
	}
	return fmt.Sprintf("%d L", size*4)
}

// usualUnits are those of the place.
func (b *answers) usualUnits(c *config.Config) units.System {
	if b.zone != nil && countryOf(b.zone) == "US" {
		return units.US
	}
	return c.Units
}

func (b *answers) takePlace(answer string) error {
	if answer == "" {
		answer = b.doubted
	}
	latitude, longitude, err := units.ParsePlace(answer)
	if err != nil {
		return err
	}
	for _, p := range config.CheckPlace(latitude, longitude, nil) {
		return errors.New(p.What + "; " + p.Remedy)
	}
	b.latitude, b.longitude = latitude, longitude
	zone, err := cli.ZoneOf("", b.place())
	if err != nil {
		return err
	}
	b.zone = zone
	if !maplesTapped(latitude, longitude) && b.doubted != answer {
		b.doubted = answer
		return &doubt{"init_far", map[string]any{"Zone": zone.String()}}
	}
	return nil
}

func (b *answers) takeTaps(answer string) error {
	n, ok := oneNumber(answer)
	if !ok || n < 1 || n > 1_000_000 {
		return errors.New("a whole number of taps, at least 1")
	}
	b.taps = n
	return nil
}

func (b *answers) takeVolume(into *string, low, high float64) func(string) error {
	return func(answer string) error {
		b.guessed = ""
		exact, litres, guessed, err := b.volume(answer)
		if err != nil {
			return err
		}
		if litres < low || litres > high {
			return fmt.Errorf("%s: check the number and its unit", answer)
		}
		if guessed {
			b.guessed = exact
		}
		*into = exact
		return nil
	}
}

func (b *answers) takeVacuum(answer string) error {
	b.guessed = ""
	exact, err := vacuum(answer)
	if err == nil && exact != answer {
		b.guessed = exact
	}
	b.vacuum = exact
	return err
}

// word takes any line that is not too long and has no control characters.
func word(into *string, most int) func(string) error {
	return func(answer string) error {
		if answer == "" || len([]rune(answer)) > most || strings.ContainsFunc(answer, func(r rune) bool { return r < ' ' || r == 0x7f }) {
			return fmt.Errorf("1 to %d characters", most)
		}
		*into = answer
		return nil
	}
}

// takePerson keeps a name as it is written; the id that is derived from it names
// files and variables.
func (b *answers) takePerson(answer string) error {
	if err := word(&b.personName, 40)(answer); err != nil {
		return err
	}
	b.person = idFrom(answer)
	return nil
}

// idFrom makes an id of a name: René Côté is rene-cote, and a name in another script
// is that of the first person.
func idFrom(name string) string {
	var b strings.Builder
	plain := norm.NFD.String(strings.NewReplacer("œ", "oe", "æ", "ae", "ø", "o", "ß", "ss", "ł", "l").Replace(strings.ToLower(name)))
	for _, r := range plain {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '_':
			b.WriteRune(r)
		case unicode.Is(unicode.Mn, r): // an accent, by itself now
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	id := strings.Trim(b.String(), "-")
	if id == "" {
		return "keeper"
	}
	return id[:min(len(id), 40)]
}

// contact takes an e-mail or web address: services refuse programs that give none.
func contact(into *string) func(string) error {
	return func(answer string) error {
		m, err := mail.ParseAddress(answer)
		isMail := err == nil && m.Address == answer
		page := answer
		if !strings.Contains(page, "://") {
			page = "https://" + page
		}
		u, err := url.Parse(page)
		isPage := err == nil && (u.Scheme == "http" || u.Scheme == "https") && webHost.MatchString(u.Hostname()) && u.User == nil
		if len(answer) > 200 || !isMail && !isPage {
			return errors.New("an e-mail address such as name@example.org, or a web page such as https://example.org")
		}
		*into = answer
		return nil
	}
}

var webHost = regexp.MustCompile(`^[\pL\d-]+(\.[\pL\d-]+)+$`)

// request takes what a gateway is sent.
func request(into *string) func(string) error {
	return func(answer string) error {
		if !strings.Contains(answer, "{to}") || !strings.Contains(answer, "{text}") {
			return errors.New("{to} and {text} are missing")
		}
		return word(into, 500)(answer)
	}
}

func oneOf(into *string, known ...string) func(string) error {
	return func(answer string) error {
		for _, k := range known {
			if strings.EqualFold(k, answer) {
				*into = k
				return nil
			}
		}
		return errors.New(answer + ": write one of " + strings.Join(known, ", "))
	}
}

func address(into *string) func(string) error {
	return func(answer string) error {
		if answer != "" && !strings.Contains(answer, "://") {
			answer = "https://" + answer
		}
		u, err := url.Parse(answer)
		if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" {
			return errors.New("an address such as https://ntfy.example.org")
		}
		*into = strings.TrimRight(answer, "/")
		return nil
	}
}

func mailbox(into *string) func(string) error {
	return func(answer string) error {
		if a, err := mail.ParseAddress(answer); err != nil || a.Address != answer {
			return errors.New("a bare address, such as name@example.org")
		}
		*into = answer
		return nil
	}
}
