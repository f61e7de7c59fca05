package inbound

import (
	"math"
	"slices"

	"thawline/forecast/records"
	"thawline/forecast/units"
)

// houseIn reads a text as a line of the sugarhouse's book, such as "boiled 220 L 5.1 L
// syrup" or "wood 0.4 cord"; false if it is none. A volume without a noun is sap, and
// syrup after it. A text that names a group is none: what hangs there is no stock.
func (l *Lexicon) houseIn(t string, groups []Group, system units.System) (Understood, bool) {
	t = joinDigits(t)
	if g, _, _ := l.named(t, groups); g != nil && len(groups) > 1 {
		return Understood{}, false
	}
	items := l.items(t)
	row, numbers := houseRow(items)
	if row == nil {
		made := slices.ContainsFunc(items, func(it item) bool { return it.row != nil && it.row.Kind == Made })
		if made && numbers > 0 && !asksElse(items, nil) { // "sugar 8 lb": what it needs stands on a page
			return Understood{Kind: Question, Unclear: string(Made)}, true
		}
		return Understood{}, false
	}
	ask := func(unclear, word string) (Understood, bool) {
		return Understood{Kind: Question, Row: row, Unclear: unclear, Word: word}, true
	}
	if numbers == 0 && (row.Kind != TippedOut || row.Words == spilledLitres) {
		if asksElse(items, row) {
			return Understood{}, false
		}
		return ask(string(InHouse), "")
	}
	if unclear, number := unclearNumber(t); unclear != "" {
		u, is := ask(unclear, "")
		u.Number = number
		return u, is
	}
	nan := math.NaN()
	e := &records.HouseEntry{Kind: records.HouseKind(row.Kind), SapL: nan, SyrupL: nan, SugarKg: nan, WoodCords: nan, Hours: nan}
	if unclear, word := l.figures(e, items, row.Kind, system); unclear != "" {
		return ask(unclear, word)
	}
	if (row.Kind == Boiled || row.Kind == SapLeft) && math.IsNaN(e.SapL) {
		return ask(string(InHouse), "")
	}
	return Understood{Kind: row.Kind, Row: row, House: e}, true
}

// asksElse says whether a text without a number asks for something else than to write
// down a row: "where is the sap".
func asksElse(items []item, row *Row) bool {
	return slices.ContainsFunc(items, func(it item) bool {
		r := it.row
		return r == nil && !it.digit || r != nil && r.Right != "" && r != row && r.Kind != Seen && !isNoun(r)
	})
}

// figures puts the numbers of a text into an entry, each with the unit after it and the
// noun beside it, without one with what is usual. It returns what is not clear, and in
// which word.
func (l *Lexicon) figures(e *records.HouseEntry, items []item, usual Kind, system units.System) (unclear, word string) {
	var before Kind // a noun right before a number
	for i := 0; i < len(items); i++ {
		it := items[i]
		switch {
		case it.row != nil && it.row.Kind == InPan && usual == Boiled && i+1 < len(items):
			e.Pan = items[i+1].text
			i++
		case it.digit && parse(it.text) >= 0:
			unit := unitAt(items, i+1)
			if unit != nil {
				i++
			}
			about := before
			if after := nounAt(items, i+1); about == "" && after >= 0 {
				about, i = items[after].row.Kind, after
			} else if about == "" {
				about = usual
			}
			before = ""
			if unclear := l.figure(e, about, parse(it.text), unit, system); unclear != "" {
				return unclear, it.text
			}
		case it.row == nil || it.row.Kind == Unit || it.row.Kind == Remark || it.row.Kind == InPan || it.row.Kind == About,
			it.row.dated():
			return "words", it.text // a day is read by who knows today
		case isNoun(it.row):
			before = it.row.Kind
		}
	}
	return "", ""
}

// dated reports whether a word names a day that is over.
func (r *Row) dated() bool { return r.Kind == Yesterday || r.Kind == LastNight || r.Kind == Weekday }

// unitAt is the unit at a place, nil where there is none.
func unitAt(items []item, at int) *Row {
	if at < len(items) && items[at].row != nil && items[at].row.Kind == Unit {
		return items[at].row
	}
	return nil
}

// houseRow is the row of the sugarhouse that a text is of, the fire's before all others,
// and how many numbers the text has.
func houseRow(items []item) (row *Row, numbers int) {
	for _, it := range items {
		switch {
		case it.digit:
			numbers++
		case it.row == nil:
		case it.row.Words == spilledLitres && numbers > 0:
		case it.row.Kind == Boiled || it.row.Kind == TippedOut:
			row = it.row
		case row == nil && isNoun(it.row) && it.row.Kind != Made:
			row = it.row
		}
	}
	return row, numbers
}

func isNoun(row *Row) bool {
	switch row.Kind {
	case SapLeft, SyrupLeft, WoodLeft, Made:
		return true
	}
	return false
}

// nounAt is the place of the noun after a number, -1 without one before the next.
func nounAt(items []item, at int) int {
	for ; at < len(items) && !items[at].digit; at++ {
		if items[at].row != nil && isNoun(items[at].row) {
			return at
		}
	}
	return -1
}

// figure takes a number in by its unit and what it is about; it returns what is not clear
// about it.
func (l *Lexicon) figure(e *records.HouseEntry, about Kind, x float64, unit *Row, system units.System) (unclear string) {
	m := Volume
	switch {
	case unit != nil:
		m = unit.Measure
	case about == WoodLeft:
		m = Stacked
	case about == Made:
		m = Mass
	}
	value, ok := l.inSI(x, unit, m, system)
	if !ok {
		return "unit"
	}
	into := &e.SapL
	switch {
	case m == Stacked:
		into = &e.WoodCords
	case m == Mass:
		into = &e.SugarKg
	case m == Hours:
		into = &e.Hours
	case m != Volume:
		return "words"
	case about == SyrupLeft, about != SapLeft && !math.IsNaN(e.SapL):
		into = &e.SyrupL
	}
	if !math.IsNaN(*into) {
		return "words"
	}
	*into = value
	return ""
}
