// Package inbound understands what people write back: what they collected, or
// that they have seen a message.
package inbound

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/text/runes"
	"golang.org/x/text/transform"
	"golang.org/x/text/unicode/norm"

	"thawline/forecast/units"
)

// Group is one that a text may speak of.
type Group struct{ ID, Name string }

// Understood is what a text says.
type Understood struct {
	Kind    Kind
	Group   string // id
	VolumeL float64
	BrixPct float64 // 0 where it says none
	Note    string  // of "full", "ice" and "not checked", parted by commas
	Unclear string  // what is asked back: "group", "volume", "unit", "words", "number", "thousands"
	Number  string  // where that is "number": as it was written, "1,200" or "1.200", which may be 1200 or 1.2
}

// Kind is what a text is.
type Kind string

// The kinds.
const (
	Collected Kind = "collected"
	Seen      Kind = "seen"
	Stop      Kind = "stop"  // no more messages
	Start     Kind = "start" // messages again
	Undo      Kind = "undo"  // what was written last is taken back
	Question  Kind = "question"
)

var (
	amount = regexp.MustCompile(`^([0-9]+(?:[.,][0-9]+)?)\s*(l|litres?|liters?|gal|gals|gallons?|usgal|impgal)?$`)
	number = regexp.MustCompile(`^[0-9]+(?:[.,][0-9]+)?$`)
	sugar  = regexp.MustCompile(`^([0-9]+(?:[.,][0-9]+)?)\s*(?:%|brix|°brix|bx)$`)
	// Gallons of a country become one word: "us gal", "imp gal", "gallons imperiaux".
	ofUS  = regexp.MustCompile(`\bu\.?s\.? ?(?:gals?|gallons?)\b|\bgallons? (?:us|americains?)\b`)
	ofImp = regexp.MustCompile(`\bimp(?:\.|erial)? ?(?:gals?|gallons?)\b|\bgallons? imp(?:eriaux|erial)?\b`)
	// Separators are commas and points; "number" has one before exactly three digits.
	separated = regexp.MustCompile(`[0-9]+(?:[.,][0-9]+)+`)
	doubtful  = regexp.MustCompile(`^0*[1-9][0-9]*[.,][0-9]{3}$`)
	// Three digits after a space: "1 200", which is no volume and its sugar.
	spaced = regexp.MustCompile(`(?:^| )[0-9]+ [0-9]{3}(?:[ .,]|$)`)
	// A space that keeps digits on one line joins them: it is narrowJoin until it is
	// known whether a group's name ends in digits.
	kept    = regexp.MustCompile("([0-9])[\u00a0\u2009\u202f]([0-9])")
	chains  = regexp.MustCompile("[0-9]+(?:" + narrowJoin + "[0-9]+)+")
	grouped = regexp.MustCompile("^[1-9][0-9]{0,2}(?:" + narrowJoin + "[0-9]{3})+$")
	joined  = regexp.MustCompile(`([0-9])(l|gals?|gallons?|usgal|impgal|litres?|liters?|%|brix)\b`)
)

const narrowJoin = "\x1f"

// Words are held without accents, as phones often write them.
var plainWords = map[string]Kind{
	"ok": Seen, "okay": Seen, "seen": Seen, "yes": Seen, "thanks": Seen, "thank you": Seen, "got it": Seen,
	"vu": Seen, "oui": Seen, "merci": Seen, "d'accord": Seen,
	"stop": Stop, "arret": Stop, "arreter": Stop, "unsubscribe": Stop, "start": Start, "reprendre": Start,
	"undo": Undo, "annuler": Undo,
}

// notes are what a text may end in; "empty" means that nothing was there.
var notes = []struct{ word, note string }{
	{"not checked", "not checked"}, {"pas verifie", "not checked"}, {"pas verifies", "not checked"}, {"pas verifiee", "not checked"}, {"pas verifiees", "not checked"},
	{"full", "full"}, {"plein", "full"}, {"pleins", "full"}, {"pleine", "full"}, {"pleines", "full"},
	{"ice", "ice"}, {"icy", "ice"}, {"frozen", "ice"}, {"glace", "ice"}, {"glaces", "ice"}, {"glacee", "ice"}, {"glacees", "ice"}, {"gele", "ice"}, {"geles", "ice"}, {"gelee", "ice"}, {"gelees", "ice"},
	{"empty", "empty"}, {"nothing", "empty"}, {"vide", "empty"}, {"vides", "empty"}, {"rien", "empty"},
}

// folded is a text in lower case without accents, with plain apostrophes and one
// space between words.
func folded(text string) string {
	fold := transform.Chain(norm.NFD, runes.Remove(runes.In(unicode.Mn)), norm.NFC)
	plain, _, err := transform.String(fold, strings.ToLower(text))
	if err != nil {
		plain = strings.ToLower(text)
	}
	return strings.Join(strings.Fields(strings.NewReplacer("’", "'", "\u00a0", " ", "\u202f", " ").Replace(plain)), " ")
}

// Understand reads a text such as "north 180 L 2.1": a group, where there are
// several, a volume, and the sugar in per cent. Without a unit the volume is in
// the writer's. Neither case nor accents count. A number that may be in thousands or
// a decimal is asked back, never guessed.
func Understand(text string, groups []Group, system units.System) Understood {
	t := folded(kept.ReplaceAllString(strings.Trim(text, " .!?\n\t"), "$1"+narrowJoin+"$2"))
	if k, plain := plainWords[t]; plain {
		return Understood{Kind: k}
	}
	t = ofImp.ReplaceAllString(ofUS.ReplaceAllString(t, "usgal"), "impgal")
	t = joined.ReplaceAllString(t, "$1 $2")
	u := Understood{Kind: Collected, VolumeL: -1}
	rest, plain := t, strings.ReplaceAll(t, narrowJoin, " ")
	if len(groups) == 1 {
		u.Group = groups[0].ID
	}
	longest := 0
	for _, g := range groups {
		for _, name := range []string{folded(g.Name), folded(g.ID)} {
			after, begins := strings.CutPrefix(plain, name)
			if len(name) > longest && begins && (after == "" || strings.ContainsRune(" :,", rune(after[0]))) {
				longest, u.Group = len(name), g.ID
				rest = strings.TrimLeft(t[len(name):], " :,"+narrowJoin)
			}
		}
	}
	rest = chains.ReplaceAllStringFunc(rest, func(digits string) string {
		if grouped.MatchString(digits) {
			return strings.ReplaceAll(digits, narrowJoin, "")
		}
		return strings.ReplaceAll(digits, narrowJoin, " ")
	})
	if u.Group != "" {
		if unclear, number := unclearNumber(rest); unclear != "" {
			return Understood{Kind: Question, Unclear: unclear, Group: u.Group, Number: number}
		}
	}
	empty := false
	for again := true; again; {
		again = false
		for _, n := range notes {
			before, ends := strings.CutSuffix(rest, n.word)
			if !ends || before != "" && !strings.HasSuffix(before, " ") && !strings.HasSuffix(before, ",") {
				continue
			}
			rest, again = strings.TrimRight(before, " ,"), true
			switch {
			case n.note == "empty":
				empty = true
			case u.Note == "":
				u.Note = n.note
			default:
				u.Note = n.note + ", " + u.Note
			}
		}
	}
	words := slices.DeleteFunc(strings.Fields(rest), func(w string) bool { return w == "a" }) // "180 litres à 2,1 %"
	for i := 0; i < len(words); i++ {
		two := words[i]
		if i+1 < len(words) {
			if both := two + " " + words[i+1]; sugar.MatchString(both) || amount.MatchString(both) {
				two = both
			}
		}
		switch {
		case sugar.MatchString(two):
			u.BrixPct = parse(sugar.FindStringSubmatch(two)[1])
			i += strings.Count(two, " ")
		case u.VolumeL < 0 && amount.MatchString(two):
			v, ok := litres(amount.FindStringSubmatch(two), system)
			if !ok {
				return Understood{Kind: Question, Unclear: "unit", Group: u.Group}
			}
			u.VolumeL = v
			i += strings.Count(two, " ")
		case u.VolumeL >= 0 && u.BrixPct == 0 && number.MatchString(words[i]):
			u.BrixPct = parse(words[i])
		default:
			if len(groups) > 1 && u.Group == "" {
				return Understood{Kind: Question, Unclear: "group"}
			}
			return Understood{Kind: Question, Unclear: "words", Group: u.Group}
		}
	}
	if empty && u.VolumeL < 0 {
		u.VolumeL = 0
	}
	switch {
	case u.Group == "":
		return Understood{Kind: Question, Unclear: "group"}
	case empty && u.VolumeL > 0:
		return Understood{Kind: Question, Unclear: "words", Group: u.Group}
	case u.VolumeL < 0 && !strings.Contains(u.Note, "not checked"):
		return Understood{Kind: Question, Unclear: "volume", Group: u.Group}
	}
	return u
}

// unclearNumber finds a number that may be read in two ways, or in none, and what to
// ask back about it; "" where all are clear.
func unclearNumber(text string) (unclear, number string) {
	for _, n := range separated.FindAllString(text, -1) {
		switch {
		case doubtful.MatchString(n):
			return "number", n
		case strings.Count(n, ".")+strings.Count(n, ",") > 1:
			return "thousands", ""
		}
	}
	if spaced.MatchString(text) {
		return "thousands", ""
	}
	return "", ""
}

// Readings are what an unclear number may be: without its separator, and as a
// decimal, to the hundredth, which is not asked back again.
func (u Understood) Readings() (whole, decimal float64) {
	digits := strings.NewReplacer(".", "", ",", "").Replace(u.Number)
	return parse(digits), math.Round(parse(u.Number)*100) / 100
}

func parse(s string) float64 {
	x, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
	if err != nil {
		return -1
	}
	return x
}

// litres of an amount; a gallon without a country, and a number without a unit,
// are the writer's.
func litres(m []string, system units.System) (float64, bool) {
	x := parse(m[1])
	switch unit := m[2]; {
	case unit == "" && system == units.Metric, strings.HasPrefix(unit, "l"):
		return x, true
	case unit == "" && system == units.US, strings.HasPrefix(unit, "gal") && system == units.US, unit == "usgal":
		return x * units.LitresPerUSGallon, true
	case unit == "" && system == units.Imperial, strings.HasPrefix(unit, "gal") && system == units.Imperial, unit == "impgal":
		return x * units.LitresPerImperialGallon, true
	}
	return 0, false
}

// String is the text as it was understood, for the ledger.
func (u Understood) String() string {
	return fmt.Sprintf("%s %s %.4g L %.3g %% %s%s", u.Kind, u.Group, u.VolumeL, u.BrixPct, u.Note, u.Unclear)
}
