package message_test

import (
	"bytes"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"

	"thawline/alerts"
	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/units"
	"thawline/forecast/weather"
	"thawline/testdata/madeup"
)

// mapleTags are fourteen languages of maple country by their tags, most of which have no
// rule of plurals anywhere. The words in the tests are made up: none is of these languages.
var mapleTags = []struct {
	tag    string
	script madeup.Script
}{
	{"oj", madeup.Latin}, {"ojb", madeup.Latin}, {"oj-Cans", madeup.Syllabics}, {"ciw", madeup.Accented}, {"moh", madeup.Accented},
	{"one", madeup.Latin}, {"ono", madeup.Accented},
	{"mic", madeup.Latin}, {"abe", madeup.Latin}, {"pqm", madeup.Accented}, {"cr", madeup.Syllabics}, {"crk", madeup.Syllabics},
	{"alq", madeup.Latin}, {"men", madeup.Accented},
	{"art-Hebr", madeup.RightToLeft}, {"art-Tibt", madeup.Tall},
}

var names = []string{"Hill", "Ridge pails", "Robin", "robin", "NWS", " C", " L"}

// occasion is something that there is to say.
type occasion struct {
	name string
	say  func(*message.Words) string
}

// occasions are evenings of several kinds and every alert in every wording.
func occasions() []occasion {
	zone := time.FixedZone("", -4*3600)
	now := time.Date(2026, 3, 20, 18, 30, 0, 0, zone)
	at := func(day, hour int) time.Time { return time.Date(2026, 3, day, hour, 0, 0, 0, zone) }
	bush := forecast.Bush{Name: "Hill", Groups: []forecast.GroupName{{ID: "ridge", Name: "Ridge pails"}}}
	evening := func(change func(*forecast.Outlook)) *forecast.Outlook {
		o := &forecast.Outlook{Site: "hill", IssuedAt: now, Bush: bush,
			Days: []forecast.Day{{Date: "2026-03-20"}, {Date: "2026-03-21", RunProbability: 0.8, Class: forecast.Run,
				VolumeL: forecast.Range{P10: 50, P50: 100, P90: 200}, Window: &forecast.Window{Start: at(21, 9), End: at(21, 18)},
				TemperatureC: forecast.MinMax{Min: -4, Max: 6}}}}
		change(o)
		return o
	}
	gather, likely, low := at(21, 14), 0.4, -12.0
	list := []*forecast.Outlook{
		evening(func(*forecast.Outlook) {}),
		evening(func(o *forecast.Outlook) { o.Days = nil }),
		evening(func(o *forecast.Outlook) { o.Days[1].RunProbability, o.Days[1].Why = 0.01, forecast.NoFrost }),
		evening(func(o *forecast.Outlook) { o.Source.Kept, o.Source.AgeHours = true, 30 }),
		evening(func(o *forecast.Outlook) {
			o.Work = forecast.Work{Until: at(21, 20),
				Groups: []forecast.GroupWork{{Group: "ridge", Decision: forecast.Gather, GoAt: &gather, Who: []string{"robin"},
					VolumeL: &forecast.Range{P10: 40, P50: 90, P90: 150}}},
				Rounds: []forecast.CrewRound{{Start: gather, Who: []string{"robin"},
					Groups: []forecast.RoundGroup{{Group: "ridge", Share: 1, LowL: 40, VolumeL: 90, HighL: 150}}}}}
		}),
		evening(func(o *forecast.Outlook) {
			o.Work = forecast.Work{Until: at(21, 20),
				Groups:  []forecast.GroupWork{{Group: "ridge", Decision: forecast.TipOut, HeldL: forecast.Range{P50: 50}}},
				Dangers: []forecast.Danger{{What: forecast.DangerWind, From: at(21, 8), To: at(21, 20), LossL: 60}}}
		}),
	}
	var out []occasion
	for _, o := range list {
		out = append(out, occasion{"evening", func(w *message.Words) string { return w.Evening(o) }})
	}
	o := list[0]
	for i := range alerts.Profiles {
		row := &alerts.Profiles[i]
		for _, what := range row.Says {
			d := alerts.Decision{Kind: row.Kind,
				Facts: alerts.Facts{What: what, Group: "Ridge pails", GroupID: "ridge", Chance: 0.8, Score: 7, Percentage: 80,
					LowC: &low, VolumeL: 120, SyrupL: 3, Visits: 12, Days: 9,
					Class: &alerts.ClassFacts{ID: "one", SapL: 45, HoldFrom: at(19, 18), SyrupL: 2, Drips: &likely,
						Danger: forecast.DangerWind},
					At: at(21, 15), Ends: at(22, 6), Window: at(21, 10), Date: "2026-03-21", From: "2026-03-21", To: "2026-03-23",
					Event:  weather.Quoted{"en": "Winter Storm Warning", "fr": "Avertissement de tempête"},
					Issuer: weather.Quoted{"en": "NWS", "fr": "NWS"}}}
			say := func(w *message.Words) string { return w.Alert(&d, o) }
			switch {
			case row.Kind == alerts.Question:
				say = func(w *message.Words) string { return w.QuestionText("Hill", &d) }
			case row.Kind == alerts.NoForecast && what != "":
				say = func(w *message.Words) string { return w.Stopped("Hill", at(17, 6)) }
			}
			out = append(out, occasion{string(row.Kind) + " " + what, say})
			if row.Kind == alerts.ClassVisit {
				eve := d
				eve.Facts.Class = &alerts.ClassFacts{ID: "one", SapL: 45, SyrupL: 2, Drips: &likely, Changed: true,
					Order: (&forecast.ClassPlan{From: at(21, 9), To: at(21, 12), Programme: forecast.Dripping}).Order()}
				out = append(out, occasion{"the last evening " + what, func(w *message.Words) string { return w.Alert(&eve, o) }})
			}
		}
	}
	return append(out, occasion{"escalation", func(w *message.Words) string {
		return w.Escalation("Robin", w.Alert(&alerts.Decision{Kind: alerts.Overflow,
			Facts: alerts.Facts{Group: "Ridge pails", Chance: 0.8, At: at(21, 15)}}, o), true, false)
	}})
}

var stops = regexp.MustCompile(`[.!?] |: `)

// mixed is the first sentence of a text that has words of two languages, "" for none. A
// name before a colon is nobody's.
func mixed(s madeup.Script, text string) string {
	for _, sentence := range stops.Split(text, -1) {
		own, others := s.Words(sentence, names...)
		others = slices.DeleteFunc(others, func(word string) bool { return len(word) == 1 })
		if len(own) > 0 && len(others) > 0 {
			return sentence
		}
	}
	return ""
}

// Every tag works, with a whole catalogue and with the first forty texts: nothing is fatal,
// nothing mangled, no sentence mixes languages, and each text has its room on each way.
func TestTonguesOfMapleCountry(t *testing.T) {
	for _, m := range mapleTags {
		for _, keys := range [][]string{nil, message.FirstForty} {
			texts := m.script.Texts(t, keys...)
			c, err := message.LoadCatalogue(madeup.File(t, m.tag, texts))
			if err != nil || len(c.LeftOut) > 0 {
				t.Errorf("%s: %v %v", m.tag, err, c.LeftOut)
				continue
			}
			for _, second := range []string{"", "fr"} {
				w, err := c.Words(message.Reader{Language: m.tag, Second: second, Units: units.Metric})
				if err != nil || w.Language() != m.tag {
					t.Errorf("%s: %v %s", m.tag, err, w.Language())
					continue
				}
				spoke := 0
				for _, one := range occasions() {
					for _, room := range []message.Room{message.Wide, message.Texted} {
						text := one.say(w.In(room))
						if own, _ := m.script.Words(text); len(own) > 0 {
							spoke++
						}
						if fault := faultOf(text, room, one.name); fault != "" {
							t.Errorf("%s, %s, %s, room %q: %s: %q", m.tag, second, one.name, room, fault, text)
						}
						if sentence := mixed(m.script, text); sentence != "" {
							t.Errorf("%s, %s, %s: mixes languages: %q in %q", m.tag, second, one.name, sentence, text)
						}
					}
				}
				if spoke < 10 {
					t.Errorf("%s: its own words came %d times", m.tag, spoke)
				}
			}
		}
	}
}

// faultOf is what is wrong with a text, "" for nothing.
func faultOf(text string, room message.Room, kind string) string {
	septets, inGSM := message.Septets(text)
	switch {
	case text == "":
		return "silent"
	case !utf8.ValidString(text) || strings.ContainsFunc(text,
		func(r rune) bool { return unicode.Is(unicode.Cc, r) || r == unicode.ReplacementChar }):
		return "mangled"
	case strings.Contains(text, "?") && !strings.HasPrefix(kind, string(alerts.Question)):
		return "a question mark in place of a letter"
	case strings.Contains(text, "{{") || strings.Contains(text, "<no value>") || strings.Contains(text, "_"):
		return "not words"
	case room == message.Wide && utf8.RuneCountInString(text) > message.SMSLimit, room == message.Texted && inGSM &&
		septets > message.SMSLimit, room == message.Texted && !inGSM && len(utf16.Encode([]rune(text))) > 134:
		return "longer than its room"
	}
	return ""
}

// A sheet that is filled in becomes the catalogue that it says; what is wrong in it is told
// by rows.
func TestSheetsComeBack(t *testing.T) {
	english, err := message.English()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []message.Texts{madeup.Syllabics.Texts(t, message.FirstForty...), madeup.RightToLeft.Texts(t)} {
		var sheet bytes.Buffer
		if err := message.WriteSheet(&sheet, english, want, 0); err != nil {
			t.Fatal(err)
		}
		got, err := message.ReadSheet(bytes.NewReader(sheet.Bytes()), english)
		if err != nil {
			t.Fatal(err)
		}
		delete(want, "week_starts")
		delete(got, "week_starts")
		for key := range want {
			if got[key] != want[key] {
				t.Errorf("%s: %q, want %q", key, got[key], want[key])
			}
		}
		if len(got) != len(want) {
			t.Errorf("%d texts, want %d", len(got), len(want))
		}
	}
	var empty bytes.Buffer
	if err := message.WriteSheet(&empty, english, message.Texts{}, 0); err != nil {
		t.Fatal(err)
	}
	for _, says := range []string{"Where: begins the evening text; room for 40 characters",
		"Filled in: Ridge pails will run over, chance 80 %. Gather by Thursday 2 pm.", "{Group} will run over", "[verdict_strong]",
		"[unit_litre.one]"} {
		if !strings.Contains(empty.String(), says) {
			t.Errorf("the sheet does not say %q", says)
		}
	}
	if first, last := strings.Index(empty.String(), "[verdict_strong]"), strings.Index(empty.String(), "[alert_closed]"); first > last {
		t.Error("the first forty do not come first")
	}
	broken := "English;Own\n\"Sap {Day}\n[alert_change_called_off]\";xx {Nom} {Day}\nlost its key;xx\n"
	_, err = message.ReadSheet(strings.NewReader(broken), english)
	if err == nil || !strings.Contains(err.Error(), "row 3: the first column has lost its key") ||
		!strings.Contains(err.Error(), "row 2: alert_change_called_off") {
		t.Errorf("%v", err)
	}
	if len(message.FirstForty) != 40 {
		t.Errorf("%d first texts", len(message.FirstForty))
	}
	for _, key := range message.FirstForty {
		if _, has := english[key]; !has {
			t.Errorf("%s is not there", key)
		}
	}
}

// Every alert of the table fills all that its words name, in every language that comes with
// the program, and its words have their room in a message.
func TestAlertsAreFilled(t *testing.T) {
	for _, language := range []string{"en", "fr"} {
		texts, err := message.Embedded(language)
		if err != nil {
			t.Fatal(err)
		}
		for _, key := range texts.TooLong() {
			if language == "en" || strings.HasPrefix(key, "alert_") {
				t.Errorf("%s in %s has more characters, filled in, than its room (places in forty.go): shorten it", key, language)
			}
		}
		c, err := message.LoadCatalogue()
		if err != nil {
			t.Fatal(err)
		}
		w, err := c.Words(message.Reader{Language: language, Units: units.Metric})
		if err != nil {
			t.Fatal(err)
		}
		for _, one := range occasions() {
			if text := one.say(w); strings.Contains(text, "<no value>") {
				t.Errorf("%s in %s names a value that nobody gives (those that there are: facts in alert.go): %q", one.name, language, text)
			}
		}
	}
}

// The file says how its language is written, and whose it is.
func TestHabitsOfFiles(t *testing.T) {
	texts := madeup.Latin.Texts(t)
	for key, text := range map[string]string{"plural_rule": "en", "group_name_ridge": "Øtebhc", "bush_name_hill": "Øuvyy",
		"written_by": "Those who speak it", "terms": "Ask first", "sms_parts": "3", "moon_3": "Øzbba"} {
		texts[key] = message.Text{Other: text}
	}
	c, err := message.LoadCatalogue(madeup.File(t, "moh", texts))
	if err != nil || len(c.LeftOut) > 0 {
		t.Fatalf("%v %v", err, c.LeftOut)
	}
	w, err := c.Words(message.Reader{Language: "moh", Units: units.Metric})
	if err != nil {
		t.Fatal(err)
	}
	if one, two := w.Plural("rounds_taps", 1), w.Plural("rounds_taps", 2); one == two || !strings.HasPrefix(one, "1 ") {
		t.Errorf("the rule that the file names is not followed: %q %q", one, two)
	}
	for _, one := range occasions()[:5] {
		if text := one.say(w); strings.Contains(text, "Ridge pails") || strings.HasPrefix(text, "Hill:") {
			t.Errorf("%s: names of the people's own are not said: %q", one.name, text)
		}
	}
	if by, terms := c.TermsOf("moh"); by != "Those who speak it" || terms != "Ask first" {
		t.Errorf("%q %q", by, terms)
	}
	for key, text := range map[string]string{"plural_rule": "moh", "direction": "up", "sms_parts": "9", "sms_accents_may_go": "perhaps"} {
		broken := madeup.Latin.Texts(t, message.FirstForty...)
		broken[key] = message.Text{Other: text}
		if c, err = message.LoadCatalogue(madeup.File(t, "moh", broken)); err != nil || len(c.LeftOut) != 1 ||
			!strings.Contains(c.LeftOut[0].Error(), key) {
			t.Errorf("%s = %s: %v %v", key, text, err, c.LeftOut)
		}
	}
	for tag, want := range map[string]string{"art-Hebr": "rtl", "ar": "rtl", "oj-Cans": "ltr", "art-Cans": "ltr"} {
		c, err := message.LoadCatalogue(madeup.File(t, tag, madeup.RightToLeft.Texts(t)))
		if err != nil {
			t.Fatal(err)
		}
		if w, err = c.Words(message.Reader{Language: tag}); err != nil || w.Direction() != want {
			t.Errorf("%s is written %s, want %s", tag, w.Direction(), want)
		}
	}
}
