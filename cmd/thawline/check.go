package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/config"
	"thawline/forecast/weather/source"
)

func checkCommand(g *globals) *cobra.Command {
	var to string
	cmd := &cobra.Command{
		Use:   "check",
		Short: "What works and what does not: settings, weather, records, channels, clock",
		Long:  "Tells on one screen what works. With --send a person gets a test message by each of their channels.",
		RunE: func(cmd *cobra.Command, _ []string) error {
			settings, err := g.settings()
			if err != nil {
				return err // all that is wrong with the settings, line by line
			}
			c := checker{ctx: cmd.Context(), g: g, settings: settings}
			c.run(to)
			if g.json {
				if err := writeJSON(cmd.OutOrStdout(), c.findings); err != nil {
					return err
				}
			} else if err := printAll(cmd.OutOrStdout(), c.text()); err != nil {
				return err
			}
			if c.bad > 0 {
				return fmt.Errorf("%d of %d checks failed", c.bad, len(c.findings))
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&to, "send", "", "send a test message to the person `NAME` (the id in the settings)")
	cmd.Args = noArguments
	return cmd
}

type finding struct {
	What string `json:"what"`
	Good bool   `json:"good"`
	Said string `json:"said"`
}

type checker struct {
	ctx      context.Context
	g        *globals
	settings *config.Config
	findings []finding
	bad      int
}

func (c *checker) find(what string, err error, good string) {
	f := finding{what, err == nil, good}
	if err != nil {
		f.Said = err.Error()
		c.bad++
	}
	c.findings = append(c.findings, f)
}

func (c *checker) text() string {
	var b strings.Builder
	for _, f := range c.findings {
		mark := "ok  "
		if !f.Good {
			mark = "BAD "
		}
		fmt.Fprintf(&b, "%s %s %s\n", mark, padded(f.What, 22), strings.ReplaceAll(f.Said, "\n", "\n"+strings.Repeat(" ", 28)))
	}
	return b.String()
}

func (c *checker) run(to string) {
	s := c.settings
	warnings := ""
	for _, w := range s.Warnings {
		warnings += "; note: " + w.String()
	}
	c.find("settings", nil, fmt.Sprintf("%s: %d sites, %d people, %d channels%s", or(s.File, "no file"), len(s.Sites), len(s.People), len(s.Channels), warnings))
	a, err := openArchive(c.ctx, s)
	if err == nil {
		err = a.Close()
	}
	where := s.DataDir
	if s.Database.Given() {
		where = "the database"
	}
	c.find("records", err, "readable, writable and whole: "+where)
	for _, name := range s.Weather.Sources {
		c.service(name)
	}
	for i := range s.People {
		p := &s.People[i]
		var missing []string
		for _, w := range personOf(p, s).Ways {
			if w.To == "" && channelKind(s, w.Channel) != config.Webhook {
				missing = append(missing, w.Channel)
			}
		}
		switch {
		case len(p.Channels) == 0:
			c.find("person "+p.ID, nil, "is told nothing: no channels")
		case len(missing) > 0:
			c.find("person "+p.ID, fmt.Errorf("no number or address for %s; give phone_file or email_file", strings.Join(missing, ", ")), "")
		default:
			c.find("person "+p.ID, nil, "reached by "+strings.Join(p.Channels, ", then "))
		}
	}
	for _, site := range s.Sites[:min(len(s.Sites), fewSites)] {
		c.find("clock at "+site.ID, nil, time.Now().In(site.Zone).Format("Mon 15:04 MST"))
	}
	if to != "" {
		c.send(to)
	}
}

func or(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}

func channelKind(s *config.Config, id string) string {
	for i := range s.Channels {
		if s.Channels[i].ID == id {
			return s.Channels[i].Kind
		}
	}
	return ""
}

// fewSites is how many a check asks for: of an association's thousands the first
// ones tell whether a service answers.
const fewSites = 5

// service asks one service for each site, alone.
func (c *checker) service(name string) {
	one := *c.settings
	one.Weather.Sources = []string{name}
	chain, _, err := newChain(c.g, &one, keptIn{})
	if err != nil {
		c.find("weather "+name, err, "")
		return
	}
	for i := range c.settings.Sites[:min(len(c.settings.Sites), fewSites)] {
		site := siteFromSettings(&c.settings.Sites[i])
		ctx, cancel := context.WithTimeout(c.ctx, askDeadline)
		outcome, err := chain.Ask(ctx, placeKey(&site), source.Request{Place: site.Place, Now: c.g.clock(), PastDays: 2, Days: futureDays})
		cancel()
		c.find("weather "+name+" "+site.ID, err, fmt.Sprintf("issued %s, %d members", outcome.Bulletin.IssuedAt.Format("2006-01-02 15:04 UTC"), max(len(outcome.Bulletin.Members), 1)))
	}
}

// send proves the channels of a person.
func (c *checker) send(to string) {
	i := slices.IndexFunc(c.settings.People, func(p config.Person) bool { return p.ID == to })
	if i < 0 {
		c.find("message to "+to, fmt.Errorf("the settings have no person %s", to), "")
		return
	}
	a, err := openArchive(c.ctx, c.settings)
	if err != nil {
		c.find("message to "+to, err, "")
		return
	}
	defer a.Close()
	channels, err := openChannels(c.settings, ledger.New(a.DB()))
	if err != nil {
		c.find("message to "+to, err, "")
		return
	}
	person := personOf(&c.settings.People[i], c.settings)
	words, err := c.words(person.Reader)
	if err != nil {
		c.find("message to "+to, err, "")
		return
	}
	for _, w := range person.Ways {
		ctx, cancel := context.WithTimeout(c.ctx, channelTimeout)
		said, err := channels[w.Channel].Send(ctx, channel.Message{Key: uuid.NewString(), To: w.To, Name: "thawline", Text: message.ToGSM7(words.Say("message_test", nil)), Language: words.Language(), Kind: "test", MadeAt: c.g.clock(), Until: c.g.clock().Add(time.Hour)})
		cancel()
		c.find("message by "+w.Channel, err, said)
	}
}

// words are the words for a reader, with what the settings' files change.
func (c *checker) words(r message.Reader) (*message.Words, error) {
	catalogue, err := message.LoadCatalogue(c.settings.Words...)
	if err != nil {
		return nil, err
	}
	return catalogue.Words(r)
}
