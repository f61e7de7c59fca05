package daemon

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	"thawline/alerts/channel"
	"thawline/alerts/inbound"
	"thawline/alerts/ledger"
	"thawline/alerts/message"
	"thawline/alerts/message/sections"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/season"
	"thawline/forecast/units"
)

// incoming is a text that came in, as it was understood.
type incoming struct {
	site   *forecast.Site
	person *channel.Person
	said   inbound.Understood
	more   []inbound.Understood // of a text that records several groups, said among them
	on     time.Time            // when it was, of an earlier record or of taps that were pulled or put in; zero for now
	onDay  bool                 // on is a day without an hour
	key    string               // the same for a text that comes again
	words  *message.Words
	now    time.Time
}

// say is what the table answers to the text.
func (in *incoming) say(values map[string]any) string {
	return in.words.Say(in.said.Row.Answer, values)
}

// until is what is answered with a day.
func (in *incoming) until(key string, day time.Time) string {
	return in.words.Say(key, map[string]any{"Day": in.words.Weekday(day), "Date": in.words.Date(day)})
}

// handlers do what each kind of text asks for and return the answer. They may be called
// again for the same text, until the answer is recorded.
var handlers = map[inbound.Kind]func(*Daemon, context.Context, *incoming) (string, error){
	inbound.Collected:     (*Daemon).note,
	inbound.Seen:          (*Daemon).seen,
	inbound.Yes:           (*Daemon).yesOrNo,
	inbound.No:            (*Daemon).yesOrNo,
	inbound.Stop:          (*Daemon).stop,
	inbound.Start:         (*Daemon).start,
	inbound.Pause:         (*Daemon).pause,
	inbound.Undo:          (*Daemon).undo,
	inbound.Tomorrow:      (*Daemon).tomorrow,
	inbound.Next:          (*Daemon).next,
	inbound.Where:         (*Daemon).where,
	inbound.Total:         (*Daemon).total,
	inbound.Ends:          (*Daemon).ends,
	inbound.Stock:         (*Daemon).stock,
	inbound.Go:            (*Daemon).goes,
	inbound.Cannot:        (*Daemon).cannot,
	inbound.Pulled:        (*Daemon).tapsDone,
	inbound.Tapped:        (*Daemon).tapsDone,
	inbound.Boiled:        (*Daemon).bookHouse,
	inbound.SapLeft:       (*Daemon).bookHouse,
	inbound.SyrupLeft:     (*Daemon).bookHouse,
	inbound.WoodLeft:      (*Daemon).bookHouse,
	inbound.TippedOut:     (*Daemon).bookHouse,
	inbound.Low:           (*Daemon).observe,
	inbound.High:          (*Daemon).observe,
	inbound.Drips:         (*Daemon).observe,
	inbound.NoDrip:        (*Daemon).observe,
	inbound.Sweet:         (*Daemon).observe,
	inbound.Off:           (*Daemon).observe,
	inbound.HardlyAny:     (*Daemon).observe,
	inbound.QuarterFull:   (*Daemon).observe,
	inbound.HalfFull:      (*Daemon).observe,
	inbound.ThreeQuarters: (*Daemon).observe,
	inbound.BrimFull:      (*Daemon).observe,
	inbound.Buds:          (*Daemon).observe,
	inbound.Sign:          (*Daemon).observe,
	inbound.Help:          (*Daemon).help,
	inbound.Question:      func(_ *Daemon, _ context.Context, in *incoming) (string, error) { return in.askBack(), nil },
}

// answer does what a text asks for, as far as the person may.
func (d *Daemon) answer(ctx context.Context, in *incoming) (string, error) {
	writes := in.said.Row == nil || in.said.Row.Right == inbound.WriteRecords // what nobody understands is taken for a record
	if writes && !in.mayWrite() {
		return in.words.Say("intake_barred", nil), nil // to ask back would invite them to write again
	}
	handle := handlers[in.said.Kind]
	if handle == nil {
		return "", fmt.Errorf("nothing deals with %s", in.said.Kind)
	}
	return handle(d, ctx, in)
}

func (in *incoming) mayWrite() bool {
	return writer(in.person).Can(auth.WriteRecords)
}

// seen notes that the person has seen what they were last sent.
func (d *Daemon) seen(ctx context.Context, in *incoming) (string, error) {
	v, err := d.Ledger.Newest(ctx, in.person.ID)
	if errors.Is(err, ledger.ErrNone) {
		return in.words.Say("reply_seen_nothing", nil), nil
	}
	if err != nil {
		return "", err
	}
	return in.say(nil), d.Ledger.Acknowledge(ctx, v.ID, in.now)
}

// yesOrNo answers the question that the person was asked last. Where nothing was asked a
// yes is an OK.
func (d *Daemon) yesOrNo(ctx context.Context, in *incoming) (string, error) {
	yes := in.said.Kind == inbound.Yes
	if reply, answered, err := d.AnswerQuestion(ctx, in.person, in.words, yes, in.now); err != nil || answered {
		return reply, err
	}
	if yes {
		return d.seen(ctx, in)
	}
	return in.say(nil), nil
}

func (d *Daemon) stop(ctx context.Context, in *incoming) (string, error) {
	return in.say(nil), d.Ledger.SetStopped(ctx, in.person.ID, true, in.now)
}

func (d *Daemon) start(ctx context.Context, in *incoming) (string, error) {
	if err := errors.Join(d.Ledger.SetStopped(ctx, in.person.ID, false, in.now),
		d.Ledger.SetPaused(ctx, in.person.ID, time.Time{})); err != nil {
		return "", err
	}
	if until := in.person.PausedUntil; in.now.Before(until) {
		return in.until("reply_paused_by_settings", until), nil
	}
	return in.say(nil), nil
}

// mostPaused is how many days a pause may last: until the same day of the next season.
const mostPaused = 365

// pause keeps messages from a person until a day begins where the bush is. Who has
// stopped them hears nothing after it either, and is told so.
func (d *Daemon) pause(ctx context.Context, in *incoming) (string, error) {
	today := in.now.In(in.site.Zone)
	days := in.said.Value
	if in.said.Until != nil {
		days = float64(int(*in.said.Until-today.Weekday()+6)%7 + 1) // today's own name is that of the day in a week
	}
	if days < 1 || days > mostPaused || days != math.Trunc(days) {
		in.said.Unclear = string(inbound.Days)
		return in.askBack(), nil
	}
	if stopped, err := d.Ledger.Stopped(ctx, in.person.ID); err != nil || stopped {
		return in.words.Say("reply_stop", nil), err
	}
	y, m, day := today.Date()
	until := time.Date(y, m, day+int(days), 0, 0, 0, 0, in.site.Zone)
	if err := d.Ledger.SetPaused(ctx, in.person.ID, until); err != nil {
		return "", err
	}
	if longer := in.person.PausedUntil; longer.After(until) {
		return in.until("reply_paused_by_settings", longer), nil
	}
	return in.until(in.said.Row.Answer, until), nil
}

func (d *Daemon) undo(ctx context.Context, in *incoming) (string, error) {
	if answer, done, err := d.undoSaid(ctx, in); err != nil || done {
		return answer, err
	}
	undone, err := d.intake().Undo(ctx, in.site, intake.Last, intake.Text, writer(in.person), in.now)
	if err != nil {
		return "", err
	}
	return undone.Say(in.words, in.site), nil
}

// tomorrow answers with the evening text as of now.
func (d *Daemon) tomorrow(ctx context.Context, in *incoming) (string, error) {
	o, nothing := d.asOfNow(ctx, in)
	if o == nil {
		return in.say(map[string]any{"Text": nothing}), nil
	}
	return in.say(map[string]any{"Text": in.words.Evening(o)}), nil
}

// next answers with the next round.
func (d *Daemon) next(ctx context.Context, in *incoming) (string, error) {
	o, nothing := d.asOfNow(ctx, in)
	if o == nil {
		return nothing, nil
	}
	return in.words.AnswerNext(o, in.now), nil
}

// where says what hangs in each group now, and where the round is on the pages.
func (d *Daemon) where(ctx context.Context, in *incoming) (string, error) {
	o, nothing := d.asOfNow(ctx, in)
	if o == nil {
		return nothing, nil
	}
	if o.Season.Closed != nil {
		return in.words.Say("rounds_closed", nil), nil
	}
	if o.Work.Untapped {
		return in.words.Say("rounds_untapped", nil), nil
	}
	var groups []string
	for _, g := range in.site.Groups {
		if o.Bush.IsPulled(g.ID) || in.said.Group != "" && g.ID != in.said.Group {
			continue
		}
		name := nameIn(in.site, g.ID)
		switch h := o.Work.Group(g.ID); {
		case h.Untapped:
			groups = append(groups, in.words.Say("reply_where_not_in", map[string]any{"Group": name}))
		case h.SinceVisit == nil:
			groups = append(groups, in.words.Say("reply_where_unknown", map[string]any{"Group": name}))
		case h.Decision == forecast.TipOut || h.Spoilt(in.now):
			groups = append(groups, in.words.Say("reply_where_tip_out", map[string]any{"Group": name}))
		default:
			n, unit := in.words.RoughVolume(h.HeldL.P50)
			groups = append(groups, in.words.Say("reply_where_group", map[string]any{"Group": name, "Volume": n, "Unit": unit}))
		}
	}
	d.mu.Lock()
	link := d.settings.Link
	d.mu.Unlock()
	if link != "" {
		link = " " + link + "/site/" + url.PathEscape(in.site.ID) + "/rounds"
	}
	return in.say(map[string]any{"Groups": strings.Join(groups, ", "), "Link": link}), nil
}

// total says what was gathered this season, by its records.
func (d *Daemon) total(ctx context.Context, in *incoming) (string, error) {
	from := season.WinterStart(in.now, in.site.Zone)
	visits, err := d.Archive.VisitsWithin(ctx, in.site.ID, from, from.AddDate(1, 0, 0), in.site.Zone)
	if err != nil {
		return "", err
	}
	return intake.TotalByGroup(in.words, in.site, from.Year()+1, visits), nil
}

// ends says when good sap likely ends.
func (d *Daemon) ends(ctx context.Context, in *incoming) (string, error) {
	o, nothing := d.asOfNow(ctx, in)
	if o == nil {
		return nothing, nil
	}
	return in.say(map[string]any{"Text": sections.SeasonLine(o, in.words, in.person.Reader.Units)}), nil
}

// stock says what lies in the sugarhouse, as far as somebody has written it down.
func (d *Daemon) stock(ctx context.Context, in *incoming) (string, error) {
	o, nothing := d.asOfNow(ctx, in)
	if o == nil {
		return nothing, nil
	}
	var good, spoilt float64
	for i := range o.Stock.Sap {
		if b := &o.Stock.Sap[i]; b.Spoilt {
			spoilt += b.Litres
		} else {
			good += b.Litres
		}
	}
	var all []string
	for _, s := range []struct {
		key    string
		litres float64
	}{{"reply_stock_sap", good}, {"reply_stock_spoilt", spoilt}} {
		if n, unit := in.words.RoughVolume(s.litres); n != "0" {
			all = append(all, in.words.Say(s.key, map[string]any{"Volume": n, "Unit": unit}))
		}
	}
	if s := o.Stock.SyrupL; s > 0 {
		all = append(all, intake.SayHouse(in.words, &records.HouseEntry{Kind: records.SyrupLeft, SyrupL: s}))
	}
	if w := o.Stock.Wood; w != nil {
		all = append(all, intake.SayHouse(in.words, &records.HouseEntry{Kind: records.WoodLeft, WoodCords: w.Amount}))
	}
	if len(all) == 0 {
		all = []string{in.words.Say("reply_stock_none", nil)}
	}
	return in.say(map[string]any{"All": strings.Join(all, ", ")}), nil
}

func (d *Daemon) help(_ context.Context, in *incoming) (string, error) {
	if !in.mayWrite() {
		return in.words.Say("reply_help_viewer", nil), nil
	}
	return in.say(in.example()), nil
}

// example is a record as it may be written, in the writer's units.
func (in *incoming) example() map[string]any {
	amount := "40 gal"
	if in.person.Reader.Units == units.Metric {
		amount = "150 L"
	}
	var groups []string
	for _, g := range in.site.Groups {
		groups = append(groups, g.ID)
	}
	one := groups[0]
	if in.said.Group != "" {
		one = in.said.Group
	}
	return map[string]any{"Example": one, "Groups": strings.Join(groups, ", "), "Amount": amount, "Brix": in.words.Number("2.1"),
		"Low": units.PlainTemperature(-4, in.person.Reader.Units), "High": units.PlainTemperature(5, in.person.Reader.Units)}
}

// askBack says what was not understood, with an example.
func (in *incoming) askBack() string {
	const longestWord = 20
	u, values := &in.said, in.example()
	key := "reply_unclear_" + u.Unclear
	switch {
	case u.Unclear == "number":
		whole, decimal := u.Readings()
		values["Whole"], values["Decimal"] = strconv.FormatFloat(whole, 'f', -1, 64),
			in.words.Number(strconv.FormatFloat(decimal, 'f', -1, 64))
	case u.Unclear == "words" && u.Word != "":
		key = "reply_unclear_word"
	case u.Unclear == "group" && u.Word != "":
		key = "reply_unclear_word_group"
	}
	values["Most"] = mostPaused
	word := []rune(u.Word)
	values["Word"] = string(word[:min(len(word), longestWord)])
	return in.words.Say(key, values)
}

// asOfNow is the newest outlook of the text's site as it reads now; nil where there is
// none to go by, and what to say then.
func (d *Daemon) asOfNow(ctx context.Context, in *incoming) (o *forecast.Outlook, nothing string) {
	var since time.Time
	newest := d.Outlook(ctx, in.site.ID)
	if newest != nil && newest.Work.Begun(in.now) && d.does(Outlook) { // "today at 2 pm" at 5 pm helps nobody
		if err := d.remake(ctx, in.site, in.now); err != nil {
			d.Log.Warn("the outlook was not made again for a question", "site", in.site.ID, "error", err)
		}
		newest = d.Outlook(ctx, in.site.ID)
	}
	if newest != nil {
		o, since = newest.At(in.now, in.site.Zone), newest.Source.IssuedAt.In(in.site.Zone)
	}
	return o, in.words.Stopped(in.site.Name, since)
}

// builtInLexicon is the words that came with the program; tests see that none means two
// things.
var builtInLexicon = sync.OnceValues(func() (*inbound.Lexicon, error) {
	c, err := message.BuiltIn()
	if err != nil {
		return nil, err
	}
	lexicon, _ := inbound.NewLexicon(inbound.Table, c)
	return lexicon, nil
})

// lexiconOf is the words that people may write; nil stands for the catalogue that came
// with the program.
func (d *Daemon) lexiconOf(c *message.Catalogue) (*inbound.Lexicon, error) {
	if c == nil {
		return builtInLexicon()
	}
	lexicon, clashes := inbound.NewLexicon(inbound.Table, c)
	for _, clash := range clashes {
		d.Log.Warn("a word has two meanings: the second is left out", "language", clash.Tag, "word", clash.String())
	}
	return lexicon, nil
}

// nameIn is what people call a group of a site.
func nameIn(site *forecast.Site, id string) string {
	for i := range site.Groups {
		if site.Groups[i].ID == id && site.Groups[i].Name != "" {
			return site.Groups[i].Name
		}
	}
	return id
}
