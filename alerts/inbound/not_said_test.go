package inbound

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"thawline/forecast/units"
)

// told is what a text was taken for, in one line: of a record its group, litres, sugar and
// remarks, of an observation its kinds, of the sugarhouse its sap and syrup, of a question
// what it asks back and which word it was.
func told(u *Understood) string {
	switch {
	case u.Kind == Question:
		return fmt.Sprintf("question %s %s", u.Unclear, u.Word)
	case u.House != nil:
		return fmt.Sprintf("%s %.4g %.4g %.4g", u.Kind, u.House.SapL, u.House.SyrupL, u.House.SugarKg)
	case len(u.Seen) > 0:
		out := string(u.Kind)
		for i := range u.Seen {
			out += fmt.Sprintf(" %s%s%.4g", u.Seen[i].Group, u.Seen[i].Sign, u.Seen[i].TemperatureC)
		}
		if u.Ahead != nil {
			out += fmt.Sprintf(" %d", *u.Ahead)
		}
		if u.Until != nil {
			out += " " + u.Until.String()
		}
		if !math.IsNaN(u.Clock) {
			out += fmt.Sprintf(" at %g", u.Clock)
		}
		return out
	case u.Kind == Collected:
		return fmt.Sprintf("record %s %.4g %.4g %s", u.Group, u.VolumeL, u.BrixPct, u.Note)
	case u.Until != nil:
		return fmt.Sprintf("%s until %s", u.Kind, u.Until)
	}
	return fmt.Sprintf("%s %.4g", u.Kind, u.Value)
}

// What a text nearly says is asked back and not taken: the word beside each differs from what
// is said by no more than a sign, a word or a unit. What one group makes different stands
// after a stroke.
func TestWhatATextDoesNotSay(t *testing.T) {
	l, _ := spoken(t, Table)
	for _, c := range []struct{ text, two, one string }{
		// No boil without sap, no sap of another measure, none below nothing.
		{"boiled 5 L of syrup", "question in_house ", ""}, {"sap 0.4 cord", "question in_house ", ""},
		{"boiled -220 L", "question words -220", ""}, {"boiled 0 L", "boiled 0 NaN NaN", ""},
		{"boiled 5 L of syrup 200 L of sap", "boiled 200 5 NaN", ""}, {"boiled 200 L of sap 5 L of syrup", "boiled 200 5 NaN", ""},
		{"north boiled 220 L", "question words boiled", "question words north"},
		{"sap", "question in_house ", ""}, {"thanks sap", "question in_house ", ""}, {"sap wood", "question in_house ", ""},
		{"where sap", "where 0", ""}, {"sap blah", "question group sap", "question words sap"},
		// No second volume, no remark twice, and no volume beside nothing.
		{"north 0 L 5 L", "question words 5", ""}, {"north 5 L full full", "record north 5 0 full", ""},
		{"north 0 empty", "record north 0 0 ", ""}, {"north 2 empty", "question words empty", ""},
		{"2,5 L north", "record north 2.5 0 ", ""}, {"north,180 L", "record north 180 0 ", ""}, {"north 1,5 L,full", "record north 1.5 0 full", ""},
		// No wish with a day, a unit or a number that does not belong to it.
		{"stop", "stop 0", ""}, {"\"STOP\"", "stop 0", ""}, {"stop monday", "question group stop", "question words stop"},
		{"stop until", "question group stop", "question words stop"}, {"stop L", "question group stop", "question words stop"},
		{"stop 5", "question group stop", "question words stop"}, {"help tuesday", "question group help", "question words help"},
		{"pause,5", "pause 5", ""}, {"pause until saturday", "pause until Saturday", ""}, {"pause until sunday", "pause until Sunday", ""},
		// No drip beside a temperature or another word of how full; none at two hours, nor after midnight.
		{"24 drips", "question observed 24", ""}, {"drips 24", "question observed 24", ""}, {"drips 23:59", "dripping NaN at 23.983333333333334", ""},
		{"drips 0 am", "dripping NaN at 0", ""}, {"drips 2 pm 3 pm", "question observed 3", ""}, {"drips 40 L", "question observed 40", ""},
		{"drips 5 days", "question observed 5", ""}, {"drips low", "question observed low", ""}, {"low drips", "question observed drips", ""},
		{"low 24 drips", "question observed drips", ""}, {"low 24 no drip", "question observed no drip", ""},
		{"low 24 low", "question observed low", ""}, {"low 24 high 41 low 5", "question observed low", ""}, {"low low 24", "low -4.444", ""},
		{"drips drips", "dripping NaN", ""}, {"half full drips", "question observed drips", ""}, {"half full half full", "half_full NaN", ""},
		{"low minus 4 high 41", "low -20 5", ""}, {"low minus -4", "low -15.56", ""},
		// A group that is named beside what drips, also where there is no other.
		{"north slope drips", "dripping northNaN", "dripping NaN"}, {"drips north", "dripping northNaN", "dripping NaN"},
		// Signs have their day, and no name of a day.
		{"sign frogs today", "sign frogsNaN 0", ""}, {"sign frogs yesterday", "sign frogsNaN -1", ""},
		{"sign frogs tuesday", "sign frogsNaN Tuesday", ""}, {"sign wood frogs", "sign wood frogsNaN", ""}, {"signe lune hier", "sign luneNaN -1", ""},
		{"sign", "question observed ", ""}, {"sign today", "question observed ", ""}, {"sign frogs?", "question observed ", ""},
	} {
		for _, groups := range [][]Group{two, two[:1]} {
			want := c.two
			if len(groups) == 1 && c.one != "" {
				want = c.one
			}
			u := l.Understand(c.text, groups, units.US)
			if got := told(&u); got != want {
				t.Errorf("%q, %d groups: got %q, want %q", c.text, len(groups), got, want)
			}
		}
	}
	// Groups whose names are words of the table.
	for text, c := range map[string]struct {
		group Group
		want  string
	}{"low 24": {Group{"low", "Low bush"}, "record low 24 0 "}, "high 41 F": {Group{"high", "High"}, "high 5"},
		"high drips": {Group{"high", "High"}, "dripping NaN"}} {
		u := l.Understand(text, []Group{c.group}, units.Metric)
		if got := told(&u); got != c.want {
			t.Errorf("%q where the only group is %s: got %q, want %q", text, c.group.Name, got, c.want)
		}
	}
}

// What people wrote that was not understood, and what lies next to it and is still asked back. An
// amount with its unit is one, also "about" so much: pails have no scale. A number alone may be anything.
func TestWhatPeopleWrote(t *testing.T) {
	l, _ := spoken(t, Table)
	for _, c := range []struct{ text, two, one string }{
		{"about 20 gallons", "question group ", "record north 75.71 0 "}, {"environ 20 litres", "question group ", "record north 20 0 "},
		{"north about 20 gallons", "record north 75.71 0 ", ""}, {"about 20 gal full", "question group ", "record north 75.71 0 full"},
		{"about 20", "question group about", "question words about"}, {"north about 20", "question words about", ""},
		{"north about", "question words about", ""}, {"north 20 gal about", "question words about", ""},
		{"low about 24", "question observed about", ""}, {"about 24 low", "question observed about", ""},
		{"boiled about 200 L", "question words about", ""}, {"about 2 %", "question group about", "question words about"},
		{"about half", "half_full NaN", ""}, {"pause about 5 days", "question days ", ""},

		{"renversé 40 L", "tipped_out 40 NaN NaN", ""}, {"j'ai renversé 40 L", "tipped_out 40 NaN NaN", ""},
		{"reversé 40 L", "tipped_out 40 NaN NaN", ""}, {"spilled 40 L", "tipped_out 40 NaN NaN", ""},
		{"I spilled 10 gallons", "tipped_out 37.85 NaN NaN", ""}, {"renversé", "question in_house ", ""}, {"spilled", "question in_house ", ""},
		{"40 L renversés", "question group renverses", "question words renverses"}, {"40 L spilled", "question group spilled", "question words spilled"},
		{"north 40 L spilled", "question words spilled", ""}, {"north 40 L, un peu renversé", "record north 40 0 some spilled", ""},
		{"j'en ai renversé un peu", "question group ", "question volume "}, {"tipped out", "tipped_out NaN NaN NaN", ""},

		{"called off", "cannot 0", ""}, {"Called off!", "cannot 0", ""}, {"cancelled", "cannot 0", ""}, {"called off tomorrow", "cannot 0", ""},
		{"annulé", "cannot 0", ""}, {"Annulé.", "cannot 0", ""}, {"annule\u0301", "cannot 0", ""}, {"c'est annulé", "cannot 0", ""},
		{"tournée annulée", "cannot 0", ""},
		{"annule", "undo 0", ""}, {"annuler", "undo 0", ""}, {"undo", "undo 0", ""}, {"off", "off NaN", ""}, {"tastes off", "off NaN", ""},
		{"tournée", "off NaN", ""},

		{"When can I help?", "next 0", ""}, {"je peux aider quand?", "next 0", ""}, {"do you need me?", "next 0", ""}, {"help", "help 0", ""},
		{"aide", "help 0", ""},

		{"when does it end?", "ends 0", ""}, {"When does the season end?", "ends 0", ""}, {"fin?", "ends 0", ""}, {"ça finit quand?", "ends 0", ""},
		{"season?", "total 0", ""}, {"combien?", "total 0", ""}, {"Combien", "total 0", ""}, {"how much?", "total 0", ""},
		{"combien de sirop?", "stock 0", ""}, {"how much syrup is left?", "stock 0", ""}, {"combien jusqu'ici?", "total 0", ""},
		{"north combien?", "where 0", "question words combien"},
	} {
		for _, groups := range [][]Group{two, two[:1]} {
			want := c.two
			if len(groups) == 1 && c.one != "" {
				want = c.one
			}
			u := l.Understand(c.text, groups, units.US)
			if got := told(&u); got != want {
				t.Errorf("%q, %d groups: got %q, want %q", c.text, len(groups), got, want)
			}
		}
	}
}

// Of several groups in one text: words that only join are no part of a record, and a name that
// is a remark is none of a group.
func TestSeveralThatAreNone(t *testing.T) {
	l, _ := spoken(t, Table)
	groups := []Group{{"ice", "Ice"}, {"north", "North slope"}, {"south", "South"}}
	for text, want := range map[string]string{
		"120 north and 80 south": "north 120 south 80", "north 120 and south 80": "north 120 south 80",
		"north 120 + south 80": "north 120 south 80", "north 120 & south 80 L": "north 120 south 80",
		"and north 120 south 80": "", "ice 5 north 6": "", "120 north, and, 80 south": "", "north south": "", "north 120 south -80": "",
	} {
		got := ""
		for i, u := range l.Several(text, groups, units.Metric) {
			if i > 0 {
				got += " "
			}
			got += fmt.Sprintf("%s %g", u.Group, u.VolumeL)
		}
		if got != want {
			t.Errorf("%q: got %q, want %q", text, got, want)
		}
	}
}

// Words are parted where people part them: no comma within a number, each emoji by itself,
// letters of any script together.
func TestWordsAreParted(t *testing.T) {
	for text, want := range map[string][]string{
		"2,5 l": {"2,5", "l"}, "ok,5": {"ok", "5"}, "5,ok": {"5", "ok"}, "1,2,3": {"1,2,3"}, "12:30": {"12:30"}, "at:5": {"at", "5"},
		"👍👍": {"👍", "👍"}, "ok👍": {"ok", "👍"}, "стоп да": {"стоп", "да"}, "œuvre": {"œuvre"}, "41°f": {"41", "°f"}, "5% l.": {"5", "%", "l"},
		"- = stop": {"stop"}, "": nil,
	} {
		if got := tokens(text); !slices.Equal(got, want) {
			t.Errorf("%q: got %q, want %q", text, got, want)
		}
	}
}
