package setup

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/config"
	"thawline/forecast/units"
	"thawline/forecast/weather/source"
)

// Finding is one thing that was tried.
type Finding struct {
	What string `json:"what"`
	Good bool   `json:"good"`
	Said string `json:"said"`

	alarming bool // somebody is told nothing
}

// Check is what works of settings and what does not.
type Check struct {
	Findings []Finding
	Bad      int // how many are not good

	ctx      context.Context
	env      app.Env
	settings *config.Config
	words    *message.Words
	offline  bool // is known already, and was told
}

// NewCheck tries what the settings name. With to, a person gets a test message by each of
// their channels.
func NewCheck(ctx context.Context, env app.Env, settings *config.Config, words *message.Words, to string) *Check {
	c := &Check{ctx: ctx, env: env, settings: settings, words: words.Open()}
	c.run(to)
	return c
}

func (c *Check) say(key string, pairs ...string) string {
	values := map[string]any{}
	for i := 0; i+1 < len(pairs); i += 2 {
		values[pairs[i]] = pairs[i+1]
	}
	return c.words.Say(key, values)
}

func (c *Check) find(what string, err error, good string) {
	f := Finding{What: message.Settle(what), Good: err == nil, Said: message.Settle(good)}
	if err != nil {
		f.Said = c.words.Phrase(message.Settle(err.Error()))
		c.Bad++
	}
	c.Findings = append(c.Findings, f)
}

// Text has a line or more for each finding; coloured, what leaves somebody without
// messages is red.
func (c *Check) Text(coloured bool) string {
	var b strings.Builder
	for _, f := range c.Findings {
		mark := c.say("check_ok")
		switch {
		case !f.Good:
			mark = c.say("check_bad")
		case f.alarming:
			mark = c.say("check_note")
		}
		before, after := "", ""
		if coloured && f.alarming {
			before, after = cli.Red, cli.Plain
		}
		fmt.Fprintf(&b, before+"%s %s %s"+after+"\n", cli.Pad(message.Settle(mark), 4), cli.Pad(f.What, 22),
			strings.ReplaceAll(f.Said, "\n", "\n"+strings.Repeat(" ", 28)))
	}
	return b.String()
}

func (c *Check) run(to string) {
	s := c.settings
	c.findSettings()
	a, err := app.OpenArchive(c.ctx, s)
	if err == nil {
		err = a.Close()
	}
	where := s.DataDir
	if s.Database.Given() {
		where = c.say("check_database")
	}
	c.find(c.say("check_records_name"), err, c.say("check_records", "Where", where))
	if !c.offline {
		c.weather()
	}
	c.heights()
	c.warnings()
	c.people()
	for _, site := range s.Sites[:min(len(s.Sites), fewSites)] {
		now := c.env.Clock().In(site.Zone)
		c.find(c.say("check_clock_name", "Site", site.ID), nil, c.words.ShortWeekday(now)+" "+c.words.Time(now)+" "+now.Format("MST"))
	}
	if to != "" {
		c.send(to)
	}
}

// people says how each person is reached, and how many are.
func (c *Check) people() {
	s := c.settings
	all := app.PeopleOf(s)
	var why []string
	for i := range s.People {
		p := &s.People[i]
		var missing []string
		for _, w := range all[i].Ways {
			if w.To == "" {
				missing = append(missing, w.Channel)
			}
		}
		name := c.say("check_person_name", "Person", p.ID)
		switch {
		case len(p.Channels) == 0:
			c.find(name, nil, c.say("check_person_none"))
			c.alarm()
			why = append(why, c.say("check_why_no_channel", "Person", p.ID))
		case len(missing) > 0:
			c.find(name, errors.New(c.say("check_person_missing", "Channels", strings.Join(missing, ", "))), "")
			c.alarm()
			why = append(why, c.say("check_why_no_number", "Person", p.ID, "Channels", strings.Join(missing, ", ")))
		default:
			c.find(name, nil, c.reached(p))
		}
	}
	var nobody error
	to := daemon.RecipientsOf(all, len(s.Channels))
	if to.Nobody() {
		switch {
		case len(s.People) == 0:
			why = []string{c.say("check_why_no_people")}
		case len(s.Channels) == 0:
			why = []string{c.say("check_why_no_channels")}
		}
		nobody = errors.New(strings.Join(append([]string{c.say("recipients_none")}, why...), "; "))
	}
	c.find(c.say("check_messages_name"), nobody, c.words.Plural("recipients", to.Reached))
	if to.Reached == 0 {
		c.alarm()
	}
}

// reached is how somebody is reached, with a word of it where they get the messages of more
// bushes than a handful.
func (c *Check) reached(p *config.Person) string {
	said := c.say("check_person", "Channels", strings.Join(p.Channels, c.say("check_then")))
	n := len(c.settings.Sites)
	if p.Sites != nil {
		n = len(p.Sites)
	}
	switch {
	case p.Summed(n):
		said += "; " + c.say("check_person_summed", "Sites", strconv.Itoa(n))
	case n > channel.Handful:
		said += "; " + c.say("check_person_all", "Sites", strconv.Itoa(n))
	}
	return said
}

// alarm marks the last finding: it leaves somebody without messages.
func (c *Check) alarm() { c.Findings[len(c.Findings)-1].alarming = true }

// findSettings says what was read, and what of it is doubtful or left out, each on a
// line of its own.
func (c *Check) findSettings() {
	s := c.settings
	if s.File == "" && len(s.Sites) == 0 {
		c.find(c.say("check_settings_name"), errors.New(c.say("check_no_settings")), "")
	} else {
		c.find(c.say("check_settings_name"), nil,
			c.say("check_settings", "File", s.File, "Sites", c.words.Plural("check_sites", len(s.Sites)),
				"People", c.words.Plural("check_people", len(s.People)), "Channels", c.words.Plural("check_channels", len(s.Channels))))
	}
	for _, w := range s.Warnings {
		if w.LeftOut {
			c.find(c.say("check_left_out_name"), errors.New(w.String()), "")
		} else {
			c.find(c.say("check_note_name"), nil, c.words.Phrase(w.String()))
		}
	}
	catalogue, err := message.LoadCatalogue(s.Words...)
	if err != nil {
		c.find(c.say("check_settings_name"), err, "")
		return
	}
	for _, err := range catalogue.LeftOut {
		c.find(c.say("check_left_out_name"), err, "")
	}
}

// fewSites is how many a check asks for: of an association's thousands the first
// ones tell whether a service answers.
const fewSites = 5

// weather asks each service for each site, alone. Where none can be reached at all
// that is said once.
func (c *Check) weather() {
	name := c.say("check_weather_name")
	var found []Finding
	var faults []error
	unreachable := true
	for _, service := range c.settings.Weather.Sources {
		one := *c.settings
		one.Weather.Sources = []string{service}
		chain, _, err := app.Services(c.env, &one, app.Storage{})
		if err != nil {
			found, faults, unreachable = append(found, Finding{What: name + " " + service}), append(faults, err), false
			continue
		}
		for i := range c.settings.Sites[:min(len(c.settings.Sites), fewSites)] {
			site := c.settings.Sites[i]
			ctx, cancel := context.WithTimeout(c.ctx, app.AskDeadline)
			outcome, err := chain.Ask(ctx, app.PlaceKey(&site),
				source.Request{Place: site.Place, Now: c.env.Clock(), PastDays: 2, Days: app.FutureDays})
			cancel()
			unreachable = unreachable && err != nil && outOfReach(outcome.Attempts)
			said := c.say("check_weather", "At", outcome.Bulletin.IssuedAt.Format("2006-01-02 15:04 UTC"), "Members",
				c.words.Plural("check_members", max(len(outcome.Bulletin.Members), 1)))
			found, faults = append(found, Finding{What: name + " " + service + " " + site.ID, Said: said}), append(faults, err)
		}
	}
	if len(found) > 0 && unreachable {
		c.find(name, errors.New(c.say("check_no_internet")), "")
		return
	}
	for i := range found {
		c.find(found[i].What, faults[i], found[i].Said)
	}
}

// heights names the bushes whose height nobody has said, as where they were set up without a
// network, and how to say it.
func (c *Check) heights() {
	example := "350 m"
	if c.settings.Units == units.US {
		example = "1150 ft"
	}
	for i := range c.settings.Sites[:min(len(c.settings.Sites), fewSites)] {
		if site := &c.settings.Sites[i]; math.IsNaN(site.Place.ElevationM) {
			c.find(c.say("check_note_name"), nil, c.say("check_no_height", "Site", site.ID, "File", c.settings.File, "Example", example))
		}
	}
}

// warnings says for which bush official warnings could be had and are not asked for: a
// service is asked where the settings name it.
func (c *Check) warnings() {
	for i := range c.settings.Sites[:min(len(c.settings.Sites), fewSites)] {
		site := &c.settings.Sites[i]
		var missing []string
		for _, name := range source.WarnersOf(site.Place) {
			if !slices.Contains(c.settings.Weather.Sources, name) {
				missing = append(missing, name)
			}
		}
		if len(missing) > 0 {
			c.find(c.say("check_note_name"), nil, c.say("check_no_warnings", "Site", site.ID, "Services", strings.Join(missing, ", ")))
		}
	}
}

// send proves the channels of a person.
func (c *Check) send(to string) {
	name := c.say("check_to_name", "Person", to)
	i := slices.IndexFunc(c.settings.People, func(p config.Person) bool { return p.ID == to })
	if i < 0 {
		var known []string
		for i := range c.settings.People {
			known = append(known, c.settings.People[i].ID)
		}
		c.find(name, errors.New(c.say("check_no_person", "Known", cli.Or(strings.Join(known, ", "), "–"))), "")
		return
	}
	if len(c.settings.People[i].Channels) == 0 {
		c.find(name, errors.New(c.say("check_no_channel")), "")
		return
	}
	a, err := app.OpenArchive(c.ctx, c.settings)
	if err != nil {
		c.find(name, err, "")
		return
	}
	defer a.Close()
	channels := app.OpenChannels(c.env.Version, c.settings, ledger.New(a.DB()))
	person := app.Person(&c.settings.People[i], c.settings)
	words, err := c.wordsFor(person.Reader)
	if err != nil {
		c.find(name, err, "")
		return
	}
	for _, w := range person.Ways {
		ctx, cancel := context.WithTimeout(c.ctx, app.ChannelTimeout)
		said, err := channels[w.Channel].Send(ctx,
			channel.Message{Key: uuid.NewString(), To: w.To, Name: "thawline", Text: words.Reply(words.Say("message_test", nil)),
				Texted: words.In(message.Texted).Reply(words.Say("message_test", nil)), Language: words.Language(), Kind: "test",
				MadeAt: c.env.Clock(), Until: c.env.Clock().Add(time.Hour)})
		cancel()
		c.find(c.say("check_by_name", "Channel", w.Channel), err, said)
	}
}

// wordsFor are the words for a reader, with what the settings' files change.
func (c *Check) wordsFor(r message.Reader) (*message.Words, error) {
	catalogue, err := message.LoadCatalogue(c.settings.Words...)
	if err != nil {
		return nil, err
	}
	return catalogue.Words(r)
}
