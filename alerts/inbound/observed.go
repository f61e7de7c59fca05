package inbound

import (
	"math"
	"slices"
	"strings"

	"thawline/forecast/records"
	"thawline/forecast/units"
)

// observedIn reads a text as what somebody saw in the bush, such as "low 24", "41 F high"
// or "no drip north"; false if it is none. A low or high is of the bush, whichever group
// is named beside a drip. Without a unit a temperature is in the writer's.
func (l *Lexicon) observedIn(t string, groups []Group, system units.System) (Understood, bool) {
	t = halfHours.ReplaceAllString(joinDigits(t), "$1:$2")
	if quoted.MatchString(t) {
		return Understood{}, false
	}
	u := Understood{Clock: math.NaN()}
	parts := []string{t}
	switch g, from, to := l.named(t, groups); {
	case g != nil && len(groups) > 1:
		u.Group, parts = g.ID, []string{t[:from], t[to:]}
	case g != nil && l.observes(t[:from], t[to:]): // the one that there is, which may be called "High"
		parts = []string{t[:from], t[to:]}
	}
	var items []item
	for _, part := range parts {
		items = append(items, l.items(part)...)
	}
	for _, it := range items {
		switch row := it.row; {
		case row == nil:
		case row.Measure == Observed:
			if u.Row == nil {
				u.Row = row
			}
		case row.Right != "" && !row.polite() && !isNoun(row): // another wish
			return Understood{}, false
		}
	}
	if u.Row == nil {
		return Understood{}, false
	}
	ask := func(unclear, word string) (Understood, bool) {
		return Understood{Kind: Question, Row: u.Row, Unclear: unclear, Word: word}, true
	}
	for _, part := range parts {
		if unclear, number := unclearNumber(part); unclear != "" {
			asked, is := ask(unclear, "")
			asked.Number = number
			return asked, is
		}
	}
	o := observer{l: l, u: &u, system: system, sign: 1}
	if unclear, word := o.take(items); unclear != "" {
		return ask(unclear, word)
	}
	u.Kind = u.Row.Kind
	return u, true
}

// observes reports whether a word of the observations is among the words of texts.
func (l *Lexicon) observes(texts ...string) bool {
	return slices.ContainsFunc(texts, func(text string) bool {
		return slices.ContainsFunc(l.items(text), func(it item) bool { return it.row != nil && it.row.Measure == Observed })
	})
}

// observer takes the words of an observation in, one by one.
type observer struct {
	l      *Lexicon
	u      *Understood
	system units.System
	about  *Row     // a low or high that waits for its number
	number *float64 // that waits for its low or high, in °C
	sign   float64
}

// take takes all words in; it returns what is not clear about them.
func (o *observer) take(items []item) (unclear, word string) {
	drips := o.u.Row.Kind != Low && o.u.Row.Kind != High
	for i := 0; i < len(items); i++ {
		it := items[i]
		switch row := it.row; {
		case clockForm.MatchString(it.text) && drips && math.IsNaN(o.u.Clock):
			o.u.Clock = hoursOf(it.text)
		case it.digit:
			unit, last := degreesAfter(items, i)
			if unclear := o.figure(it.text, unit, drips); unclear != "" {
				return unclear, it.text
			}
			i = last
		case row.ofNothingSeen():
			return string(Observed), it.text
		case row.Kind == Minus:
			o.sign = -1
		case row.Kind == Noon && math.IsNaN(o.u.Clock):
			o.u.Clock = noon
		case o.day(row):
		case row.Measure == Observed && !o.word(row):
			return string(Observed), it.text
		}
	}
	if o.about != nil || o.number != nil || len(o.u.Seen) == 0 {
		return string(Observed), ""
	}
	return "", ""
}

// ofNothingSeen reports whether a word has no place in what somebody saw.
func (r *Row) ofNothingSeen() bool {
	return r == nil || r.Kind == Unit || r.Kind == Remark || r.Kind == Until || r.Kind == All || r.Kind == About
}

// degreesAfter is the unit of the number at a place, nil where it has none, and the place
// of the last word that belongs to the number.
func degreesAfter(items []item, at int) (unit *Row, last int) {
	for at+1 < len(items) && items[at+1].row != nil && (items[at+1].row.Kind == Degree || unit == nil && items[at+1].row.Kind == Unit) {
		if at++; items[at].row.Kind == Unit {
			unit = items[at].row
		}
	}
	return unit, at
}

// day takes in the day that it was on; false for a word that is none.
func (o *observer) day(row *Row) bool {
	switch row.Kind {
	case Weekday:
		day := row.Weekday
		o.u.Until = &day
	case Today, LastNight:
		o.u.Ahead = new(int)
	case Yesterday:
		yesterday := -1
		o.u.Ahead = &yesterday
	default:
		return false
	}
	return true
}

// word takes a row of the observations in; false where it does not go with the others.
func (o *observer) word(row *Row) bool {
	seen := records.Observation{Kind: records.ObservationKind(row.Kind), TemperatureC: math.NaN()}
	if !seen.Kind.Read() {
		seen.Group = o.u.Group
		for i := range o.u.Seen {
			if o.u.Seen[i].Kind != seen.Kind {
				return false
			}
		}
		if len(o.u.Seen) == 0 && o.about == nil && o.number == nil {
			o.u.Seen = append(o.u.Seen, seen)
		}
		return o.about == nil && o.number == nil
	}
	for i := range o.u.Seen {
		if o.u.Seen[i].Kind == seen.Kind || !o.u.Seen[i].Kind.Read() {
			return false
		}
	}
	switch {
	case o.number != nil:
		seen.TemperatureC = *o.number
		o.u.Seen, o.number = append(o.u.Seen, seen), nil
	case o.about == nil || o.about == row:
		o.about = row
	default:
		return false
	}
	return true
}

// figure takes a number in: a temperature, or when it dripped. It returns what is not
// clear about it.
func (o *observer) figure(text string, unit *Row, drips bool) (unclear string) {
	sign := o.sign
	o.sign = 1
	x := signed(text) * sign
	if drips {
		if unit != nil && unit.Measure != Clock && unit.Measure != Hours || !math.IsNaN(o.u.Clock) {
			return string(Observed)
		}
		if o.u.Clock = clockOf(x, unit); !(o.u.Clock >= 0 && o.u.Clock < 2*noon) {
			return string(Observed)
		}
		return ""
	}
	if unit != nil && unit.Measure != Temperature || o.number != nil {
		return string(Observed)
	}
	celsius, ok := o.l.inSI(x, unit, Temperature, o.system)
	if !ok {
		return string(Observed)
	}
	if o.about == nil {
		o.number = &celsius
		return ""
	}
	o.u.Seen = append(o.u.Seen, records.Observation{Kind: records.ObservationKind(o.about.Kind), TemperatureC: celsius})
	o.about = nil
	return ""
}

// signed is a number that may be below zero.
func signed(text string) float64 {
	if text[0] == '-' {
		return -parse(text[1:])
	}
	return parse(text)
}

// signIn reads a text such as "sign frogs" or "signe lune des gels hier": the word, what
// people call the sign as they wrote it, and a day; false if it is none.
func (l *Lexicon) signIn(text string) (Understood, bool) {
	words := strings.Fields(strings.Trim(text, " .!\n\t"))
	if len(words) == 0 || strings.Contains(text, "?") {
		return Understood{}, false
	}
	row := l.rows[strings.Join(tokens(folded(words[0])), " ")]
	if row == nil || row.Kind != Sign {
		return Understood{}, false
	}
	u := Understood{Kind: Sign, Row: row, Clock: math.NaN()}
	var name []string
	for _, word := range words[1:] {
		switch part := l.rows[strings.Join(tokens(folded(word)), " ")]; {
		case part != nil && (part.Kind == Today || part.Kind == Yesterday):
			days := 0
			if u.Ahead = &days; part.Kind == Yesterday {
				days = -1
			}
		case part != nil && part.Kind == Weekday:
			day := part.Weekday
			u.Until = &day
		default:
			name = append(name, strings.Trim(word, ",;:"))
		}
	}
	if len(name) == 0 {
		return Understood{Kind: Question, Row: row, Unclear: string(Observed)}, true
	}
	u.Seen = []records.Observation{{Kind: records.Sign, Sign: strings.Join(name, " "), TemperatureC: math.NaN()}}
	return u, true
}
