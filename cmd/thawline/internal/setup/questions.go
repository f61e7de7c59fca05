package setup

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"net/mail"
	"net/url"
	"regexp"
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

// questions asks on a terminal, or wherever lines come from.
type questions struct {
	ctx    context.Context
	in     *bufio.Scanner
	out    io.Writer
	words  *message.Words
	failed error // of writing
}

func newQuestions(ctx context.Context, in io.Reader, out io.Writer, words *message.Words) *questions {
	return &questions{ctx: ctx, in: bufio.NewScanner(in), out: out, words: words}
}

func (q *questions) print(text string) {
	if _, err := io.WriteString(q.out, text); err != nil && q.failed == nil {
		q.failed = fmt.Errorf("print: %w", err)
	}
}

func (q *questions) tell(key string, values map[string]any) {
	q.print(q.words.Say(key, values) + "\n")
}

// next waits for a line, or for somebody who ends it all.
func (q *questions) next() (more bool, err error) {
	scanned := make(chan bool, 1)
	go func() { scanned <- q.in.Scan() }()
	select {
	case more = <-scanned:
		return more, nil
	case <-q.ctx.Done():
		q.print("\n")
		return false, q.ctx.Err()
	}
}

// mostTries is how often a question is put again.
const mostTries = 5

// ask puts a question until an answer fits; an empty line means what is usual.
func (q *questions) ask(one *question) error {
	prompt, usual := q.words.Say(one.key, nil), one.usual()
	if usual != "" {
		said := usual
		if one.options != nil {
			said = optionWord(q.words, usual)
		}
		prompt += " [" + said + "]"
	}
	for range mostTries {
		q.print(prompt + "\n> ")
		more, err := q.next()
		if err != nil {
			return err
		}
		if !more {
			if err := q.in.Err(); err != nil {
				return fmt.Errorf("read an answer: %w", err)
			}
			return cli.WrongUse(q.words.Say("init_ended", map[string]any{"Question": prompt}))
		}
		answer := strings.TrimSpace(q.in.Text())
		if answer == "" {
			answer = usual
		}
		err = one.answer(q.words, answer)
		if err == nil {
			if one.then != nil {
				one.then(q)
			}
			return nil
		}
		said := wrongAnswer(q.words, one.key, err)
		var d *doubt
		if !errors.As(err, &d) {
			said = q.words.Say("init_wrong", map[string]any{"What": said})
		}
		q.print(said + "\n")
	}
	return cli.WrongUse(q.words.Say("init_no_fit", map[string]any{"Question": prompt}))
}

// question is one of several; asked says whether it is put at all, options, if
// there are any, what may be answered, and then, if there is one, speaks after it.
type question struct {
	key     string
	usual   func() string
	asked   func() bool
	options []string
	take    func(answer string) error
	then    func(q *questions)
}

// doubt is an answer that can hardly be meant; given again, it is taken.
type doubt struct {
	key    string
	values map[string]any
}

func (d *doubt) Error() string { return d.key }

// answer takes an answer; options may be given in the reader's words.
func (one *question) answer(w *message.Words, text string) error {
	for _, o := range one.options {
		if strings.EqualFold(text, optionWord(w, o)) || o == string(volume.Pail) && strings.EqualFold(text, config.Bucket) {
			text = o
		}
	}
	return one.take(text)
}

func optionWord(w *message.Words, option string) string { return w.Say("option_"+option, nil) }

// wrongAnswer says what was wrong: what the reader of the answer found, which is
// English, or what the question wants.
func wrongAnswer(w *message.Words, key string, found error) string {
	var d *doubt
	if errors.As(found, &d) {
		return w.Say(d.key, d.values)
	}
	if w.Language() == "en" {
		return found.Error()
	}
	return w.Say("wrong_"+key, nil)
}

func (q *questions) askEach(list []question) error {
	for i := range list {
		if !list[i].asked() {
			continue
		}
		if err := q.ask(&list[i]); err != nil {
			return err
		}
	}
	return nil
}

func newAnswers() *answers { return &answers{elevationM: math.NaN(), topic: secretTopic()} }

func askAll(q *questions, c *config.Config) (*answers, error) {
	b := newAnswers()
	q.tell("init_hello", nil)
	return b, q.askEach(b.questions(c, q.words))
}

// questions are all there are, in their order: later ones depend on earlier answers.
func (b *answers) questions(c *config.Config, w *message.Words) []question {
	always := func() bool { return true }
	tubing := func() bool {
		return b.collectedBy == string(volume.TubingGravity) || b.collectedBy == string(volume.TubingVacuum)
	}
	tell := func(how string) func() bool { return func() bool { return b.tell == how } }
	plain := func(s string) func() string { return func() string { return s } }
	return []question{
		{"init_place", plain(""), always, nil, b.takePlace, func(q *questions) { q.tell("init_zone", map[string]any{"Zone": b.zone.String()}) }},
		{"init_name", plain(w.Say("init_usual_name", nil)), always, nil, word(&b.name, 60), nil},
		{"init_units", func() string { return string(b.usualUnits(c)) }, always, []string{"us", "imperial", "metric"}, func(s string) (err error) { b.units, err = units.ParseSystem(s); return err }, nil},
		{"init_taps", plain(""), always, nil, b.takeTaps, nil},
		{"init_collected", plain(string(volume.Pail)), always, ways, oneOf(&b.collectedBy, ways...), nil},
		{"init_container", plain(""), func() bool { return !tubing() }, nil, b.takeVolume(&b.container, 1, 40), nil},
		{"init_tank", plain(""), tubing, nil, b.takeVolume(&b.tank, 5, 1e6), nil},
		{"init_vacuum", plain(""), func() bool { return b.collectedBy == string(volume.TubingVacuum) }, nil, b.takeVacuum, nil},
		{"init_contact", plain(c.Weather.Contact), always, nil, contact(&b.contact), nil},
		{"init_person", plain(""), always, nil, b.takePerson, nil},
		{"init_tell", plain("later"), always, tellings, oneOf(&b.tell, tellings...), nil},
		{"init_server", plain(""), tell("ntfy"), nil, address(&b.server), nil},
		{"init_mail_host", plain(""), tell("email"), nil, word(&b.mailHost, 200), nil},
		{"init_mail_from", plain(""), tell("email"), nil, mailbox(&b.mailFrom), nil},
		{"init_mail_to", plain(""), tell("email"), nil, mailbox(&b.mailTo), nil},
	}
}

var (
	ways     = []string{string(volume.Pail), string(volume.Bag), string(volume.TubingGravity), string(volume.TubingVacuum)}
	tellings = []string{"later", "ntfy", "email"}
)

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
	n, err := strconv.Atoi(answer)
	if err != nil || n < 1 || n > 1_000_000 {
		return errors.New("a whole number of taps, at least 1")
	}
	b.taps = n
	return nil
}

func (b *answers) takeVolume(into *string, low, high float64) func(string) error {
	return func(answer string) error {
		litres, err := units.ParseVolume(answer, b.units)
		if err != nil {
			return err
		}
		if litres < low || litres > high {
			return fmt.Errorf("%s: check the number and its unit", answer)
		}
		*into = answer
		return nil
	}
}

func (b *answers) takeVacuum(answer string) error {
	kPa, err := units.ParseVacuum(answer)
	if err == nil && kPa > 95 {
		err = errors.New("no pump pulls that much")
	}
	b.vacuum = answer
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

func oneOf(into *string, known ...string) func(string) error {
	return func(answer string) error {
		for _, k := range known {
			if strings.EqualFold(k, answer) {
				*into = k
				return nil
			}
		}
		return errors.New(answer + ": " + units.Suggest(answer, known, "write one of "+strings.Join(known, ", ")))
	}
}

func address(into *string) func(string) error {
	return func(answer string) error {
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
