// Package inbound understands what people write back: what they collected, or
// that they have seen a message.
package inbound

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

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
	Note    string  // "full", "ice", "not checked"
	Unclear string  // what is asked back: "group", "volume", "unit", "sugar", "words"
}

// Kind is what a text is.
type Kind string

// The kinds.
const (
	Collected Kind = "collected"
	Seen      Kind = "seen"
	Stop      Kind = "stop"  // no more messages
	Start     Kind = "start" // messages again
	Question  Kind = "question"
)

var (
	amount = regexp.MustCompile(`^([0-9]+(?:[.,][0-9]+)?)\s*(l|litres?|liters?|gal|gals|gallons?|usgal|impgal)?$`)
	number = regexp.MustCompile(`^[0-9]+(?:[.,][0-9]+)?$`)
	sugar  = regexp.MustCompile(`^([0-9]+(?:[.,][0-9]+)?)\s*(?:%|brix|°brix|bx)$`)
	// Gallons of a country become one word: "us gal", "imp gal", "gallons impériaux".
	ofUS   = regexp.MustCompile(`\bu\.?s\.? ?(?:gals?|gallons?)\b|\bgallons? (?:us|américains?)\b`)
	ofImp  = regexp.MustCompile(`\bimp(?:\.|erial)? ?(?:gals?|gallons?)\b|\bgallons? imp(?:érial|ériaux|erial)?(?:\b|$)`)
	joined = regexp.MustCompile(`([0-9])(l|gals?|gallons?|usgal|impgal|litres?|liters?|%|brix)\b`)
)

var plainWords = map[string]Kind{
	"ok": Seen, "okay": Seen, "seen": Seen, "yes": Seen, "vu": Seen, "oui": Seen, "got it": Seen,
	"stop": Stop, "arret": Stop, "arrêt": Stop, "unsubscribe": Stop, "start": Start, "reprendre": Start,
}

var notes = map[string]string{"full": "full", "plein": "full", "pleins": "full", "ice": "ice", "glace": "ice", "not checked": "not checked", "pas vérifié": "not checked"}

// Understand reads a text such as "north 180 L 2.1": a group, where there are
// several, a volume, and the sugar in per cent. Without a unit the volume is in
// the writer's. Case does not count.
func Understand(text string, groups []Group, system units.System) Understood {
	t := strings.ToLower(strings.Join(strings.Fields(strings.Trim(text, " .!?\n\t")), " "))
	if k, plain := plainWords[t]; plain {
		return Understood{Kind: k}
	}
	t = ofImp.ReplaceAllString(ofUS.ReplaceAllString(t, "usgal"), "impgal")
	t = joined.ReplaceAllString(t, "$1 $2")
	u := Understood{Kind: Collected, VolumeL: -1}
	rest := t
	found := -1
	for i, g := range groups {
		for _, name := range []string{strings.ToLower(g.Name), strings.ToLower(g.ID)} {
			if name != "" && (rest == name || strings.HasPrefix(rest, name+" ")) && (found < 0 || len(name) > len(t)-len(rest)) {
				found, rest = i, strings.TrimSpace(strings.TrimPrefix(t, name))
			}
		}
	}
	switch {
	case found >= 0:
		u.Group = groups[found].ID
	case len(groups) == 1:
		u.Group = groups[0].ID
	}
	for word, note := range notes {
		if strings.HasSuffix(rest, word) {
			u.Note, rest = note, strings.TrimSpace(strings.TrimSuffix(rest, word))
		}
	}
	words := strings.Fields(rest)
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
	switch {
	case u.Group == "":
		return Understood{Kind: Question, Unclear: "group"}
	case u.VolumeL < 0 && u.Note != "not checked":
		return Understood{Kind: Question, Unclear: "volume", Group: u.Group}
	case u.BrixPct != 0 && (u.BrixPct < 0.5 || u.BrixPct > 12):
		return Understood{Kind: Question, Unclear: "sugar", Group: u.Group}
	}
	return u
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
