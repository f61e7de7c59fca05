package daemon

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/inbound"
	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

// texter writes texts to a daemon and reads the answers.
type texter struct {
	t   *testing.T
	d   *Daemon
	box *recorder
	at  time.Time
}

// answers is what ann gets back for a text, a minute after the one before.
func (w *texter) answers(text string) string {
	w.t.Helper()
	w.at = w.at.Add(time.Minute)
	ctx := context.Background()
	w.d.deliver(ctx, w.at) // what was due before
	w.box.got = nil
	if err := w.d.heard(ctx, &w.d.settings.Sites[0], &w.d.settings.People[0], text, "", w.at); err != nil {
		w.t.Fatal(err)
	}
	w.d.deliver(ctx, w.at)
	if len(w.box.got) != 1 || w.box.got[0].Kind != alerts.Reply {
		w.t.Errorf("%q: %d answers: %s", text, len(w.box.got), w.box.said())
		return ""
	}
	return w.box.got[0].Text
}

func writing(t *testing.T, now time.Time, change func(*Settings)) *texter {
	t.Helper()
	d, box := crewAndKeepers(t, now, change)
	return &texter{t, d, box, now}
}

var march = time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC) // a Monday, 11 am

// Each kind of text that stands in the table is dealt with.
func TestEveryTextIsDealtWith(t *testing.T) {
	for i := range inbound.Table {
		if row := &inbound.Table[i]; row.Right != "" && handlers[row.Kind] == nil {
			t.Errorf("nothing deals with %s", row.Kind)
		}
	}
}

// OK is about the last message, not about the answer to a record that came after it;
// it is answered, ends an escalation, and is never a record.
func TestOKIsAboutTheLastMessage(t *testing.T) {
	for _, ok := range []string{"ok", "👍🏽", "Merci!", "yes", "Liked “South pails will run over.”"} {
		w := writing(t, march, nil)
		ctx := context.Background()
		overflows(t, w.d, w.at)
		w.d.deliver(ctx, w.at)
		w.answers("20 L")
		for range 2 {
			if said := w.answers(ok); said != "Noted: seen." {
				t.Errorf("%q: %s", ok, said)
			}
		}
		list, err := w.d.Ledger.Recent(ctx, 10)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range list {
			if v.AckedAt.IsZero() == (v.Kind == alerts.Overflow) {
				t.Errorf("%q: %+v", ok, v)
			}
		}
		w.box.got = nil
		w.d.escalate(ctx, w.at.Add(2*time.Hour))
		w.d.deliver(ctx, w.at.Add(2*time.Hour))
		if len(w.box.got) > 0 {
			t.Errorf("%q: %s", ok, w.box.said())
		}
		if visits, err := w.d.Archive.Visits(ctx, "bush", time.Time{}, time.UTC); err != nil || len(visits) != 1 {
			t.Errorf("%q: %v %d records", ok, err, len(visits))
		}
	}
}

// Who was told nothing gets an answer all the same; NO answers no question.
func TestNothingWasAsked(t *testing.T) {
	w := writing(t, march, nil)
	for text, want := range map[string]string{"ok": "Nothing was sent to you", "Oui": "Nothing was sent to you",
		"no": "Nothing was asked of you", "N": "Nothing was asked of you", "👎": "Nothing was asked of you"} {
		if said := w.answers(text); !strings.Contains(said, want) {
			t.Errorf("%q: %s, want %s", text, said, want)
		}
	}
}

// The last of START, STOP and START counts, and each is answered; the same words in the
// same minute are one text.
func TestStartAfterStop(t *testing.T) {
	w := writing(t, march, nil)
	ctx := context.Background()
	for i, text := range []string{"START", "STOP", "START", "STOP", "reprendre"} {
		said := w.answers(text)
		stopped, err := w.d.Ledger.Stopped(ctx, "ann")
		if want := i%2 == 1; err != nil || stopped != want || strings.Contains(said, "no more") != want {
			t.Errorf("%d: %v, stopped %v: %s", i, err, stopped, said)
		}
	}
	w.box.got = nil
	for range 2 {
		if err := w.d.heard(ctx, &w.d.settings.Sites[0], &w.d.settings.People[0], "20 L", "", w.at.Add(20*time.Second)); err != nil {
			t.Fatal(err)
		}
	}
	w.d.deliver(ctx, w.at.Add(20*time.Second))
	if visits, err := w.d.Archive.Visits(ctx, "bush", time.Time{}, time.UTC); err != nil || len(visits) != 1 || len(w.box.got) != 1 {
		t.Errorf("%v %d records, %s", err, len(visits), w.box.said())
	}
}

// A pause keeps everything away until its day begins, what was queued and what is
// urgent too, of which the keepers hear at once; it outlives a restart.
func TestPause(t *testing.T) {
	ctx := context.Background()
	for text, want := range map[string]string{
		"pause 5 days": "Saturday 14 Mar", "5 jours pause": "Saturday 14 Mar", "pause until Thursday": "Thursday 12 Mar",
		"pause jusqu'à lundi": "Monday 16 Mar", "pause 1": "Tuesday 10 Mar", "pause 365 days": "Tuesday 9 Mar",
	} {
		w := writing(t, march, nil)
		if said := w.answers(text); said != "You hear nothing until "+want+". START ends the pause." {
			t.Errorf("%q: %s", text, said)
		}
	}

	path := filepath.Join(t.TempDir(), "d.db")
	box := &recorder{}
	s := evenSettings("")
	s.Channels, s.Link, s.People[0].Role = map[string]channel.Channel{"text": box}, "https://bush.example.org", "crew"
	d := started(t, path, s, march)
	w := &texter{t, d, box, march}
	queued := alerts.Decision{Kind: alerts.Evening, Site: "bush", Key: "evening:1", Until: march.Add(6 * time.Hour)}
	if err := d.record(ctx, &s.Sites[0], queued, w.at.Add(time.Minute), func(*message.Words) string { return "queued" }); err != nil {
		t.Fatal(err)
	}
	box.got = nil
	w.at = w.at.Add(time.Minute)
	if err := d.heard(ctx, &d.settings.Sites[0], &d.settings.People[0], "pause 2 days", "", w.at); err != nil {
		t.Fatal(err)
	}
	d.deliver(ctx, w.at)
	if said := box.said(); strings.Contains(said, "ann: queued") || !strings.Contains(said, "cy: queued") ||
		!strings.Contains(said, "ann: You hear nothing until Wednesday 11 Mar.") {
		t.Error(said)
	}

	later := started(t, path, s, w.at)
	wednesday := time.Date(2026, 3, 11, 4, 0, 0, 0, time.UTC) // midnight
	for i, at := range []time.Time{w.at.Add(time.Hour), wednesday.Add(-time.Minute), wednesday} {
		box.got = nil
		decision := alerts.Decision{Kind: alerts.Danger, Site: "bush", Key: fmt.Sprint("danger:", i), Until: at.Add(6 * time.Hour),
			Urgent: true}
		if err := later.record(ctx, &s.Sites[0], decision, at, func(*message.Words) string { return "storm" }); err != nil {
			t.Fatal(err)
		}
		later.deliver(ctx, at)
		want := "bob: storm|cy: storm"
		if at.Equal(wednesday) {
			want = "ann: storm"
		}
		if heard := sorted(box.said()); heard != want {
			t.Errorf("%s: %s, want %s", at, heard, want)
		}
	}
}

func sorted(said string) string {
	parts := strings.Split(said, "|")
	slices.Sort(parts)
	return strings.Join(parts, "|")
}

// START ends a pause, a longer one takes the place of a shorter, and what the settings
// say is not ended by text. What is no pause is refused, and nothing is kept.
func TestPauseEndsAndIsRefused(t *testing.T) {
	ctx := context.Background()
	w := writing(t, march, nil)
	silenced := func() bool {
		t.Helper()
		silenced, err := w.d.Ledger.Silenced(ctx, "ann", w.at)
		if err != nil {
			t.Fatal(err)
		}
		return silenced
	}
	for _, text := range []string{"pause -3 days", "pause 0", "pause 4000 days", "pause 366", "pause 60 weeks", "pause 1.5 days",
		"pause", "pause 99999999999999999999", "pause tonight"} {
		if said := w.answers(text); silenced() || !strings.Contains(said, "1 to 365 days") {
			t.Errorf("%q: %s", text, said)
		}
	}
	w.answers("pause 2 days")
	if said := w.answers("pause 9 days"); !silenced() || !strings.Contains(said, "Wednesday 18 Mar") {
		t.Error(said)
	}
	if said := w.answers("start"); silenced() || said != "Done: you get messages again." {
		t.Error(said)
	}
	w.answers("stop")
	if said := w.answers("pause 2 days"); !silenced() || !strings.Contains(said, "no more messages") {
		t.Error(said)
	}
	w.answers("start")
	w.d.settings.People[0].PausedUntil = march.AddDate(0, 0, 5)
	for _, text := range []string{"start", "pause 2 days"} {
		if said := w.answers(text); !strings.Contains(said, "The settings pause your messages until Saturday 14 Mar") {
			t.Errorf("%q: %s", text, said)
		}
	}
}

// A round of which some was spilled is noted with that, as one that brought at least so much.
func TestSomeSpilledByText(t *testing.T) {
	for text, want := range map[string]string{
		"20 gal spilled some":     "Noted: pails 20 gallons. Some spilled: counts as at least so much.",
		"pails 20 gal, ran over":  "Noted: pails 20 gallons. Full: counts as at least so much.",
		"20 gal, un peu renversé": "Noted: pails 20 gallons. Some spilled: counts as at least so much.",
	} {
		w := writing(t, march, nil)
		if said := w.answers(text); said != want {
			t.Errorf("%q: %q, want %q", text, said, want)
		}
	}
}

// What people wrote and was not understood is answered: where the season ends, that nobody goes, what was
// spilled, and an amount that is about so much. What was noted can be taken back; "annulé" takes nothing back.
func TestWhatPeopleWroteByText(t *testing.T) {
	w := writing(t, march, nil)
	w.answers("pails 40 gal")
	for _, c := range []struct{ text, says, not string }{
		{"renversé 40 L", "11 gallons", "I did not understand"},
		{"about 20 gallons", "Second load of pails, 60 gallons in all", "did not understand"},
		{"about 20", "I did not understand \"about\"", "Noted"},
		{"combien?", "Season 2026: 60 gallons gathered", ""},
	} {
		if said := w.answers(c.text); !strings.Contains(said, c.says) || c.not != "" && strings.Contains(said, c.not) {
			t.Errorf("%q: %s", c.text, said)
		}
	}
}

// Who was told of a round and writes that it is off does not go, in both languages, and nothing that they
// wrote before is taken back; when the season ends is told as the first lines of an outlook have it.
func TestARoundCalledOffByText(t *testing.T) {
	w, _ := crewOfTwo(t)
	for _, text := range []string{"called off", "annulé", "Annulé."} {
		if said := w.answers(text); !strings.HasPrefix(said, "Noted: Ana can't ") {
			t.Errorf("%q: %q", text, said)
		}
	}
	w.answers("north 40 gal")
	if said := w.answers("annulé"); strings.Contains(said, "40") {
		t.Errorf("takes a record back: %q", said)
	}
	for _, text := range []string{"when does it end?", "ça finit quand?"} {
		if said := w.answers(text); !strings.Contains(said, "Good sap likely ends between") {
			t.Errorf("%q: %q", text, said)
		}
	}
}

// UNDO takes back what the person wrote last, once, and says what; a viewer may not.
func TestUndoByText(t *testing.T) {
	w := writing(t, march, nil)
	nothing := w.answers("undo")
	w.answers("pails 40 gal")
	if said := w.answers("UNDO"); !strings.Contains(said, "40 gallons") {
		t.Error(said)
	}
	if said := w.answers("undo"); said != nothing || strings.Contains(said, "40") {
		t.Errorf("twice: %s", said)
	}
	w.d.settings.People[0].Role = string(auth.Viewer)
	if said := w.answers("undo"); strings.Contains(said, "40") || said == nothing {
		t.Error(said)
	}
}

// What tomorrow brings is told as of now: after midnight it is the next day, and old weather is not spoken of.
func TestTomorrowByText(t *testing.T) {
	ctx := context.Background()
	w := writing(t, march, nil)
	if said := w.answers("tomorrow?"); !strings.Contains(said, "no usable weather yet") {
		t.Error(said)
	}
	o, err := w.d.look(ctx, &w.d.settings.Sites[0], w.at, false)
	if err != nil {
		t.Fatal(err)
	}
	words, err := message.NewWords(w.d.settings.People[0].Reader)
	if err != nil {
		t.Fatal(err)
	}
	evening := words.Evening(o)
	for _, text := range []string{"tomorrow?", "Demain ?", "forecast"} {
		if said := w.answers(text); said != evening {
			t.Errorf("%q: %s, want %s", text, said, evening)
		}
	}
	w.at = time.Date(2026, 3, 10, 4, 30, 0, 0, time.UTC) // after midnight
	next := o.At(w.at, w.d.settings.Sites[0].Zone)
	if said := w.answers("tomorrow"); next.Days[0].Date != "2026-03-10" || !strings.Contains(said, "Weather 15 hours old") {
		t.Errorf("%s: %s", next.Days[0].Date, said)
	}
	w.at = w.at.Add(24 * time.Hour)
	if said := w.answers("tomorrow"); !strings.Contains(said, "no usable weather since Monday") {
		t.Error(said)
	}
}

// What was gathered this season is told as the page of records has it, with each group where
// there are a few; what earlier seasons gave is not in it, nor what was not collected.
func TestTotalByText(t *testing.T) {
	ctx := context.Background()
	const gallon = units.LitresPerUSGallon
	w := writing(t, march, func(s *Settings) {
		second := s.Sites[0].Groups[0]
		second.ID, second.Name = "brook", "Brook"
		s.Sites[0].Groups = append(s.Sites[0].Groups, second)
	})
	if said := w.answers("total?"); said != "Season 2026: no round on record yet." {
		t.Errorf("nothing on record: %q", said)
	}
	visit := func(group string, daysAgo int, litres float64) records.Visit {
		return records.Visit{Site: "bush", Group: group, CollectedAt: march.AddDate(0, 0, -daysAgo), VolumeL: litres, BrixPct: math.NaN(), Taps: 50}
	}
	all := []records.Visit{visit("pails", 1, 40*gallon), visit("pails", 3, 21*gallon), visit("brook", 2, 30*gallon), visit("brook", 4, math.NaN()),
		visit("pails", 366, 500*gallon)}
	if _, err := w.d.Archive.PutVisits(ctx, all, "ann", march); err != nil {
		t.Fatal(err)
	}
	const want = "Season 2026: 91 gallons gathered in all. Pails 61 gallons, Brook 30 gallons."
	for _, text := range []string{"total?", "Total", "how much so far?", "season?", "total ?", "combien jusqu'ici ?", "Combien jusqu’ici?"} {
		if said := w.answers(text); said != want {
			t.Errorf("%q: %q, want %q", text, said, want)
		}
	}
	stored, err := w.d.Archive.VisitsWithin(ctx, "bush", march.AddDate(0, -2, 0), march, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	words, err := message.NewWords(w.d.settings.People[0].Reader)
	if err != nil {
		t.Fatal(err)
	}
	if page := intake.Total(words, 2026, stored); !strings.HasPrefix(want, page) || page == "" {
		t.Errorf("the page says %q", page)
	}
	if said := w.answers("pails total 40 gal"); strings.HasPrefix(said, "Season") || strings.HasPrefix(said, "Noted") {
		t.Errorf("a record that is not clear: %q", said)
	}
}

// Where sap hangs is told group by group in the reader's units, with a link.
func TestWhereByText(t *testing.T) {
	ctx := context.Background()
	groups := func(s *Settings) {
		second, third := s.Sites[0].Groups[0], s.Sites[0].Groups[0]
		second.ID, second.Name, third.ID, third.Name = "brook", "Brook", "ridge", "Ridge"
		s.Sites[0].Groups = append(s.Sites[0].Groups, second, third)
	}
	for system, unit := range map[units.System]string{units.US: "gallon", units.Metric: "litre"} {
		w := writing(t, march, func(s *Settings) { groups(s); s.People[0].Reader.Units = system })
		if said := w.answers("where"); !strings.Contains(said, "no usable weather yet") {
			t.Error(said)
		}
		visit := records.Visit{Site: "bush", Group: "pails", CollectedAt: w.at.AddDate(0, 0, -2), VolumeL: 100, BrixPct: math.NaN(),
			Taps: 50}
		other := visit
		other.Group = "brook"
		if _, err := w.d.Archive.PutVisits(ctx, []records.Visit{visit, other}, "ann", w.at); err != nil {
			t.Fatal(err)
		}
		o, err := w.d.look(ctx, &w.d.settings.Sites[0], w.at, false)
		if err != nil || o.Work.Groups[0].HeldL.P50 < 1 {
			t.Fatal(err, o.Work)
		}
		words, err := message.NewWords(w.d.settings.People[0].Reader)
		if err != nil {
			t.Fatal(err)
		}
		n, _ := words.RoughVolume(o.Work.Groups[0].HeldL.P50)
		m, _ := words.RoughVolume(o.Work.Groups[1].HeldL.P50)
		want := fmt.Sprintf("pails %s %ss, Brook %s %ss, Ridge: no visit on record. https://bush.example.org/site/bush/rounds", n, unit,
			m, unit)
		if said := w.answers("where?"); said != want {
			t.Errorf("%s, want %s", said, want)
		}
		o.Work.Groups[0].KeepsUntil, o.Work.Groups[0].KeepsLonger = &march, false
		if said := w.answers("where?"); !strings.HasPrefix(said, "pails gone bad: tip it out, Brook") {
			t.Error(said)
		}
	}
}

// What is not understood is said, with an example that is: in the reader's language and
// units. Help fits one message.
func TestExamplesAreUnderstood(t *testing.T) {
	ctx := context.Background()
	for _, language := range []string{"en", "fr"} {
		for _, system := range []units.System{units.US, units.Imperial, units.Metric} {
			w := writing(t, march, func(s *Settings) {
				second := s.Sites[0].Groups[0]
				second.ID, second.Name = "brook", "Along the brook"
				s.Sites[0].Groups = append(s.Sites[0].Groups, second)
				s.People[0].Reader = message.Reader{Language: language, Units: system}
			})
			in := &incoming{site: &w.d.settings.Sites[0], person: &w.d.settings.People[0]}
			var err error
			if in.words, err = w.d.Words(in.person.Reader); err != nil {
				t.Fatal(err)
			}
			x := in.example()
			example := fmt.Sprintf("%s %s %s", x["Example"], x["Amount"], x["Brix"])
			for text, named := range map[string]string{"nroth 40 gal": `"nroth"`, "about 40": `"about"`, "brook about 40": `"about"`,
				"40": "pails, brook", "help": "STOP", "what a day for a walk with the dog": `"what"`,
				strings.Repeat("x", 900): strings.Repeat("x", 20) + `"`} {
				if language == "fr" && text == "help" {
					named = "ARR"
				}
				said := w.answers(text)
				sent, _ := message.ToGSM7(said, true) // as a phone gets it
				if n, ok := message.Septets(sent); !strings.Contains(strings.ToUpper(said), strings.ToUpper(named)) || !ok ||
					n > message.SMSLimit {
					t.Errorf("%s, %s, %.20q: %d: %s", language, system, text, n, said)
				}
				if own := strings.Replace(example, "pails", "brook", 1); !strings.Contains(said, example) && !strings.Contains(said, own) {
					t.Errorf("%s, %s, %.20q: no %q: %s", language, system, text, example, said)
				}
			}
			if said := w.answers(example); !strings.Contains(said, map[string]string{"en": "Noted", "fr": "Not"}[language]) {
				t.Errorf("%s, %s: %q: %s", language, system, example, said)
			}
			if visits, err := w.d.Archive.Visits(ctx, "bush", time.Time{}, time.UTC); err != nil || len(visits) != 1 {
				t.Errorf("%v %d records", err, len(visits))
			}
			in.person.Role = string(auth.Viewer)
			if said := w.answers("aide"); strings.Contains(said, "brook") || strings.Contains(said, "pails") {
				t.Errorf("%s: a viewer may: %s", language, said)
			}
		}
	}
}

// A helper from Québec writes French to a bush that reads English, and the other way
// round; a stranger, and somebody of another bush, get no answer at all.
func TestWhoIsAnswered(t *testing.T) {
	ctx := context.Background()
	w := writing(t, march, func(s *Settings) {
		s.People[0].Ways[0].To, s.People[1].Ways[0].To = "+18025550101", "+18025550102"
		s.People[1].Sites = []string{"elsewhere"}
	})
	if said := w.answers("40 gallons américains pleines"); said != "Noted: pails 40 gallons. Full: counts as at least so much." {
		t.Error(said)
	}
	w.box.got = nil
	for _, from := range []string{"+18025550109", "+18025550102", ""} {
		for _, text := range []string{"help", "ok", "40 gal", "stop", "undo", "tomorrow?"} {
			if err := w.d.Hear(ctx, &w.d.settings.Sites[0], from, text, "", w.at.Add(time.Hour)); err != nil {
				t.Error(err)
			}
		}
	}
	w.d.deliver(ctx, w.at.Add(time.Hour))
	if visits, err := w.d.Archive.Visits(ctx, "bush", time.Time{}, time.UTC); err != nil || len(visits) != 1 || len(w.box.got) > 0 {
		t.Errorf("%v %d records, %s", err, len(visits), w.box.said())
	}
}

// Two groups go into one text and are taken back as one; taps were pulled on the day that
// a text names. What is not clear is asked back, and nothing of it is kept.
func TestTextsThatSayMore(t *testing.T) {
	w := writing(t, march, func(s *Settings) {
		g := s.Sites[0].Groups[0]
		g.ID, g.Name = "north", "North"
		s.Sites[0].Groups = append(s.Sites[0].Groups, g)
	})
	first := w.d.settings.Sites[0].Groups[0]
	ctx := context.Background()
	kept := func() int {
		visits, err := w.d.Archive.Visits(ctx, "bush", time.Time{}, time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		return len(visits)
	}
	if said := w.answers("North 20 L " + first.ID + " 10 L"); strings.Count(said, "Noted:") != 1 || !strings.Contains(said, "2.6") || kept() != 2 {
		t.Errorf("%s, %d records", said, kept())
	}
	if w.answers("undo"); kept() != 0 {
		t.Errorf("%d records after undo", kept())
	}
	if said := w.answers("North 20 L " + first.ID + " soon"); strings.Contains(said, "Noted:") || kept() != 0 {
		t.Errorf("%s, %d records", said, kept())
	}
	for _, text := range []string{"pulled North Mar 8", "north entailles enlevées 8 mars"} {
		said := w.answers(text)
		events, err := w.d.Archive.TapEvents(ctx, "bush", time.Time{}, time.UTC)
		if err != nil || len(events) == 0 || events[len(events)-1].On.UTC().Format(time.DateOnly) != "2026-03-08" ||
			events[len(events)-1].Group != "north" {
			t.Errorf("%q: %s, %v %d events", text, said, err, len(events))
		}
	}
	if said := w.answers("pulled North 3/8"); !strings.Contains(said, "not understand") {
		t.Errorf("a day that may be two is taken: %s", said)
	}
}
