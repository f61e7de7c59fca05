package inbound

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/units"
)

// Group is one that a text may speak of.
type Group struct{ ID, Name string }

// called are all names of a group, those that files have for it among them.
func (l *Lexicon) called(g *Group) []string {
	names := []string{folded(g.Name), folded(g.ID)}
	for _, own := range l.catalogue.InEach("group_name_" + g.ID) {
		names = append(names, folded(own.Text))
	}
	return names
}

// Understood is what a text says.
type Understood struct {
	Kind    Kind
	Row     *Row    // of the table; nil where nothing of it was understood
	Group   string  // id
	All     bool    // of all groups
	VolumeL float64 // of a record, -1 for none
	BrixPct float64 // 0 where it says none
	Note    string  // of "full", "ice" and "not checked", parted by commas
	Value   float64 // of the row's measure: days, °C
	Until   *time.Weekday
	Ahead   *int                  // of a text that a day goes with: 0 for today, 1 for tomorrow, -1 for yesterday
	House   *records.HouseEntry   // of the sugarhouse's book, without site and moment
	Seen    []records.Observation // in the bush, without site, day and moment
	Clock   float64               // of what was seen: in hours after midnight, NaN where it says none
	Unclear string                // what is asked back: "group", "volume", "unit", "sugar", "words", "number", "thousands" or a measure
	Number  string                // where that is "number": as it was written, "1,200" or "1.200", which may be 1200 or 1.2
	Word    string                // what was not understood, "" where each word was
}

var (
	// Separators are commas and points; "number" has one before exactly three digits.
	separated = regexp.MustCompile(`[0-9]+(?:[.,][0-9]+)+`)
	doubtful  = regexp.MustCompile(`^0*[1-9][0-9]*[.,][0-9]{3}$`)
	// Three digits after a space: "1 200", which is no volume and its sugar.
	spaced = regexp.MustCompile(`(?:^|[^0-9])[0-9]+ [0-9]{3}(?:[^0-9]|$)`)
	// A space that keeps digits on one line joins them: it is narrowJoin until it is
	// known whether a group's name ends in digits.
	kept    = regexp.MustCompile("([0-9])[\u00a0\u2009\u202f]([0-9])")
	chains  = regexp.MustCompile("[0-9]+(?:" + narrowJoin + "[0-9]+)+")
	grouped = regexp.MustCompile("^[1-9][0-9]{0,2}(?:" + narrowJoin + "[0-9]{3})+$")
	// A phone that likes a message sends it back: 👍 to “South pails will run over.”
	quoted = regexp.MustCompile(`["“«].*["”»]`)
)

const narrowJoin = "\x1f"

// Understand reads a text such as "north 180 L 2.1" or "180 L north": a group, where
// there are several, a volume, and the sugar in per cent; or one of the table's words
// with its number, in either order. Without a unit a number is in the writer's.
// Neither case nor accents count. A number that may be in thousands or a decimal is
// asked back, never guessed. A record comes first: a group may be called "Pause".
func (l *Lexicon) Understand(text string, groups []Group, system units.System) Understood {
	if row := l.alone[spelled(text)]; row != nil {
		return Understood{Kind: row.Kind, Row: row}
	}
	t := folded(kept.ReplaceAllString(strings.Trim(text, " .!?\n\t"), "$1"+narrowJoin+"$2"))
	record := l.recordIn(t, groups, system)
	if record.Kind == Collected {
		return record
	}
	if u, is := l.signIn(text); is {
		return u
	}
	if u, is := l.observedIn(t, groups, system); is && !strings.Contains(text, "?") {
		return u
	}
	asks := strings.Contains(text, "?")
	if u, is := l.houseIn(t, groups, system); is {
		if stock := l.rowOf(Stock); asks && u.Kind == Question && u.Unclear == string(InHouse) && stock != nil { // "wood?"
			return Understood{Kind: Stock, Row: stock}
		}
		return u
	}
	u, is := l.wish(t, groups, system)
	if asks && (!is || u.Kind == Question) {
		if row, group := l.askedFor(t, groups); row != nil {
			return Understood{Kind: row.Kind, Row: row, Group: group}
		}
	}
	if !is || u.Kind == Question && record.Unclear != "words" && record.Unclear != "group" { // of a record as good as whole
		return record
	}
	return u
}

// askedFor is the row of what a text with a question mark and without a number asks for in words
// of its own, nil for nothing: "how is the ridge?" and "pails?" how much hangs there, "how much
// syrup is left?" what lies in the sugarhouse.
func (l *Lexicon) askedFor(t string, groups []Group) (row *Row, group string) {
	items := l.items(t)
	has := func(is func(it item) bool) bool { return slices.ContainsFunc(items, is) }
	of := func(is func(r *Row) bool) bool { return has(func(it item) bool { return it.row != nil && is(it.row) }) }
	g, _, _ := l.named(t, groups)
	switch {
	case has(func(it item) bool { return it.digit }),
		of(func(r *Row) bool { return r.Right != "" && r.Kind != Where && !isNoun(r) && !r.polite() }):
		return nil, ""
	case g != nil && len(groups) > 1:
		return l.rowOf(Where), g.ID
	case of(func(r *Row) bool { return r.Kind == Where }),
		len(items) > 0 && !has(func(it item) bool { return it.row == nil || it.row.Kind != Hangs }):
		return l.rowOf(Where), ""
	case of(isNoun):
		return l.rowOf(Stock), ""
	}
	return nil, ""
}

// rowOf is the row of a kind, nil where the table has none.
func (l *Lexicon) rowOf(k Kind) *Row {
	if i := slices.IndexFunc(l.table, func(r Row) bool { return r.Kind == k }); i >= 0 {
		return &l.table[i]
	}
	return nil
}

// recordIn reads a text as a record; a Question if it is none.
func (l *Lexicon) recordIn(t string, groups []Group, system units.System) Understood {
	u := Understood{Kind: Collected, Row: l.record, VolumeL: -1}
	parts := []string{t}
	if len(groups) == 1 {
		u.Group = groups[0].ID
	}
	if g, from, to := l.named(t, groups); g != nil {
		u.Group, parts = g.ID, []string{t[:from], t[to:]}
	}
	var items []item
	for _, part := range parts {
		part = joinDigits(part)
		if unclear, number := unclearNumber(part); unclear != "" && u.Group != "" {
			return Understood{Kind: Question, Unclear: unclear, Group: u.Group, Number: number}
		}
		items = append(items, l.items(part)...)
	}
	notes, empty, unclear, word := l.recordWords(&u, items, system)
	if unclear != "" {
		return asked(u.Group, unclear, word, len(groups))
	}
	u.Note = strings.Join(notes, ", ")
	if empty != "" && u.VolumeL < 0 {
		u.VolumeL = 0
	}
	switch {
	case u.Group == "":
		return asked("", "group", "", len(groups))
	case empty != "" && u.VolumeL > 0:
		return asked(u.Group, "words", empty, len(groups))
	case u.VolumeL < 0 && !slices.Contains(notes, NotChecked):
		return asked(u.Group, "volume", "", len(groups))
	}
	return u
}

// recordWords takes the words of a record into u. It returns its remarks and the word that
// says that nothing hung, "" without one; or what is not clear, and in which word.
func (l *Lexicon) recordWords(u *Understood, items []item, system units.System) (notes []string, empty, unclear, word string) {
	for i := 0; i < len(items); i++ {
		switch it := items[i]; {
		case it.digit && parse(it.text) >= 0:
			unit := unitAt(items, i+1)
			if unit != nil {
				i++
			}
			if unclear := l.number(u, parse(it.text), unit, system); unclear != "" {
				return nil, "", unclear, it.text
			}
		case i > 0 && it.row != nil && it.row.Kind == Seen: // "north 24 gal, thanks"
		case isAbout(items, i):
		case it.row == nil || it.row.Kind != Remark && it.row.Kind != Joint && it.row.Kind != Hangs:
			return nil, "", "words", it.text
		case it.row.Note == Empty:
			empty = it.text
		case it.row.Kind == Remark && !slices.Contains(notes, it.row.Note):
			notes = append(notes, it.row.Note)
		}
	}
	return notes, empty, "", ""
}

// isAbout reports whether the word at a place says of the volume after it that it was not measured
// to the drop: nobody has pails with a scale. A number without a unit may be anything, and is asked for.
func isAbout(items []item, at int) bool {
	return items[at].row != nil && items[at].row.Kind == About && at+2 < len(items) && items[at+1].digit &&
		unitAt(items, at+2) != nil && unitAt(items, at+2).Measure == Volume
}

// asked is what is asked back; before all which group it was, where that is not known.
func asked(group, unclear, word string, groups int) Understood {
	if groups > 1 && group == "" && unclear == "words" {
		unclear = "group"
	}
	return Understood{Kind: Question, Unclear: unclear, Group: group, Word: word}
}

// number takes a number of a record in, with its unit or nil; it returns what is not
// clear about it. The first without a unit is the volume, the next the sugar.
func (l *Lexicon) number(u *Understood, x float64, unit *Row, system units.System) (unclear string) {
	switch {
	case unit != nil && unit.Measure == Sugar && u.BrixPct == 0, unit == nil && u.VolumeL >= 0 && u.BrixPct == 0:
		u.BrixPct = x
	case (unit == nil || unit.Measure == Volume) && u.VolumeL < 0:
		litres, ok := l.inSI(x, unit, Volume, system)
		if !ok {
			return "unit"
		}
		u.VolumeL = litres
	default:
		return "words"
	}
	return ""
}

// inSI is a number in litres, days, per cent or °C; false where the writer has no such
// unit, as who counts in litres has no gallon.
func (l *Lexicon) inSI(x float64, unit *Row, m Measure, system units.System) (float64, bool) {
	usual := l.usual(m, system)
	switch {
	case unit == nil:
		unit = usual
	case unit.Each == 0 && system == units.Metric:
		return 0, false
	case unit.Each == 0:
		unit = usual
	}
	return (x - unit.Zero) * unit.Each, true
}

// wish reads a text as one of the table's words, with the number and the group that may
// go with it. Thanks beside it are only polite.
func (l *Lexicon) wish(t string, groups []Group, system units.System) (Understood, bool) {
	t = halfHours.ReplaceAllString(joinDigits(t), "$1:$2")
	bare := t
	if at := quoted.FindStringIndex(t); at != nil && at[0] > 0 {
		bare = t[:at[0]] + t[at[1]:]
	}
	if g, from, to := l.named(bare, groups); g != nil {
		if u, is := l.wishOf(append(l.items(bare[:from]), l.items(bare[to:])...), system); is && u.Row.Group && !u.All {
			u.Group = g.ID
			return u, true
		}
	}
	return l.wishOf(l.items(bare), system)
}

func (l *Lexicon) wishOf(items []item, system units.System) (Understood, bool) {
	var w wish
	for _, it := range items {
		if !w.take(it) {
			return w.u, false
		}
	}
	u := &w.u
	if u.Row == nil || u.All && !u.Row.Group {
		return *u, false
	}
	u.Kind = u.Row.Kind
	if u.Row.Dated {
		return l.dated(*u, items, w.numbers, w.unit, w.unknown || w.until)
	}
	w.unknown = w.unknown || w.clocked || u.Ahead != nil
	if u.Row.Measure == "" {
		return *u, !w.unknown && len(w.numbers) == 0 && w.plain()
	}
	return l.measured(&w, items, system)
}

// wish gathers what the words of a text say that is no record.
type wish struct {
	u       Understood
	numbers []float64
	unit    *Row
	until   bool // "until" was among the words
	unknown bool // so was one that goes with no wish
	clocked bool // so was an hour
}

// plain says that no unit and no day belong to the wish.
func (w *wish) plain() bool { return w.unit == nil && !w.until && w.u.Until == nil }

// take takes in a word; false if it begins another wish.
func (w *wish) take(it item) bool {
	switch row := it.row; {
	case it.digit:
		w.numbers = append(w.numbers, parse(it.text))
	case clockForm.MatchString(it.text):
		w.numbers, w.clocked = append(w.numbers, hoursOf(it.text)), true
	case row == nil || row.Kind == Remark || row.Kind == Unit && w.unit != nil || row.Kind == Yesterday || row.Kind == LastNight ||
		row.Kind == Noon || row.Kind == About || row.Words == spilledLitres:
		w.unknown = true
	case row.Kind == Unit:
		w.unit = row
	case isNoun(row): // "where is the sap"
	case row.Kind == Until:
		w.until = true
	case row.Kind == Weekday:
		day := row.Weekday
		w.u.Until = &day
	case row.Kind == Today:
		w.u.Ahead = new(int)
	default:
		return w.takeRow(row)
	}
	return true
}

// takeRow takes in a word that may name the wish; false if it names another one.
func (w *wish) takeRow(row *Row) bool {
	u := &w.u
	switch {
	case u.Row != nil && (row.Kind == Tomorrow && u.Row.Dated || row.Dated && u.Row.Kind == Tomorrow):
		tomorrow := 1
		if u.Ahead = &tomorrow; row.Dated {
			u.Row = row
		}
	case u.Row != nil && u.Row.Dated && row.polite():
	case row.Dated && u.Row != nil && u.Row.polite():
		u.Row = row
	case row.Kind == All:
		u.All = true
	default:
		return w.takeName(row)
	}
	return true
}

// takeName takes in a word that names a wish; false if another is named already.
func (w *wish) takeName(row *Row) bool {
	u := &w.u
	switch {
	case row.Right == "" || row == u.Row || row.Kind == Seen && u.Row != nil:
	case u.Row == nil || u.Row.Kind == Seen:
		u.Row = row
	default:
		return false
	}
	return true
}

// measured finishes a wish that a number goes with, or a day in its place; a Question
// where they are not clear.
func (l *Lexicon) measured(w *wish, items []item, system units.System) (Understood, bool) {
	u := &w.u
	m := u.Row.Measure
	counted := len(w.numbers) == 1 && (w.unit == nil || w.unit.Measure == m) && !w.until && u.Until == nil
	dated := m == Days && u.Until != nil && len(w.numbers) == 0 && w.unit == nil
	switch {
	case w.unknown && items[0].row != u.Row:
		return *u, false
	case w.unknown || !counted && !dated:
		return Understood{Kind: Question, Row: u.Row, Unclear: string(m)}, true
	case counted:
		value, ok := l.inSI(w.numbers[0], w.unit, m, system)
		if !ok {
			return Understood{Kind: Question, Row: u.Row, Unclear: "unit"}, true
		}
		u.Value = value
	}
	return *u, true
}

// named finds the group that a text names, wherever it stands: the longest name, at the
// start before the end before the middle. A name that is a number, a unit or a remark
// counts at the start alone.
func (l *Lexicon) named(t string, groups []Group) (found *Group, from, to int) {
	plain := strings.ReplaceAll(t, narrowJoin, " ")
	length, rank := 0, 0
	for i := range groups {
		for _, name := range l.called(&groups[i]) {
			for at := 0; name != "" && len(name) >= length; at++ {
				next := strings.Index(plain[at:], name)
				if next < 0 {
					break
				}
				at += next
				end := at + len(name)
				place := 1 // the middle
				switch {
				case at == 0:
					place = 3
				case end == len(plain):
					place = 2
				}
				if (len(name) > length || place > rank) && l.bounds(plain, at, end) && (place == 3 || !l.part(name)) {
					found, from, to, length, rank = &groups[i], at, end, len(name), place
				}
			}
		}
	}
	return found, from, to
}

// bounds reports whether a name in a text is whole: no part of a longer word, nor of a
// number ("Ridge 2" is not in "ridge 2,5"), nor a number with its unit ("ridge 2 L").
func (l *Lexicon) bounds(t string, from, to int) bool {
	digit := func(at int) bool { return at >= 0 && at < len(t) && t[at] >= '0' && t[at] <= '9' }
	const parting = " :,;."
	if from > 0 && (!strings.Contains(parting, t[from-1:from]) || digit(from) && digit(from-2) && t[from-1] != ' ') {
		return false
	}
	if to == len(t) {
		return true
	}
	if !strings.Contains(parting, t[to:to+1]) || digit(to+1) && (t[to] == '.' || t[to] == ',' && digit(to-1)) {
		return false
	}
	if !digit(to - 1) {
		return true
	}
	after := l.items(t[to:])
	return len(after) == 0 || after[0].row == nil || after[0].row.Kind != Unit
}

// joinDigits joins digits that a space keeps on one line, where they are in threes.
func joinDigits(text string) string {
	text = chains.ReplaceAllStringFunc(text, func(digits string) string {
		if grouped.MatchString(digits) {
			return strings.ReplaceAll(digits, narrowJoin, "")
		}
		return digits
	})
	return strings.ReplaceAll(text, narrowJoin, " ")
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

// dated is a wish with which a day and a time of day may go.
func (l *Lexicon) dated(u Understood, items []item, numbers []float64, unit *Row, unknown bool) (Understood, bool) {
	odd := len(numbers) > 1 || unit != nil && (unit.Measure != Clock && unit.Measure != Hours || len(numbers) == 0) || u.Ahead != nil &&
		u.Until != nil
	if len(numbers) == 1 {
		u.Value = clockOf(numbers[0], unit)
		odd = odd || u.Value < 0 || u.Value >= 2*noon
	}
	switch {
	case unknown && (items[0].row != u.Row || len(numbers) == 0):
		return u, false
	case unknown || odd:
		return Understood{Kind: Question, Row: u.Row, Unclear: string(Clock)}, true
	}
	return u, true
}

const noon = 12

var (
	clockForm = regexp.MustCompile(`^(?:[01]?[0-9]|2[0-3]):[0-5][0-9]$`)
	halfHours = regexp.MustCompile(`\b([0-9]{1,2}) ?h ?([0-5][0-9])\b`) // "16 h 30"
)

// hoursOf is "16:30" in hours.
func hoursOf(text string) float64 {
	h, m, _ := strings.Cut(text, ":")
	return parse(h) + parse(m)/60
}

// clockOf is a time of day in hours after midnight. Nobody gathers before it is light:
// without "am" early hours are those of the afternoon.
func clockOf(x float64, unit *Row) float64 {
	const light = 7
	switch {
	case unit != nil && unit.Words == "word_pm" && x >= noon && x < noon+1:
		return x
	case unit != nil && unit.Words == "word_am":
		return math.Mod(x, noon)
	case unit != nil && unit.Zero != 0:
		return x - unit.Zero
	case x > 0 && x < light:
		return x + noon
	}
	return x
}

// polite reports whether a text's word says nothing beside one with a day.
func (r *Row) polite() bool { return r.Kind == Seen || r.Kind == Yes || r.Kind == No }

// String is the text as it was understood, for the ledger.
func (u Understood) String() string {
	switch {
	case u.Kind == Collected || u.Row == nil:
		return fmt.Sprintf("%s %s %.4g L %.3g %% %s%s", u.Kind, u.Group, u.VolumeL, u.BrixPct, u.Note, u.Unclear)
	case u.Row.Dated:
		day := ""
		if u.Ahead != nil {
			day = fmt.Sprintf("%d days ahead", *u.Ahead)
		} else if u.Until != nil {
			day = u.Until.String()
		}
		return fmt.Sprintf("%s %s %s %.4g", u.Kind, u.Group, day, u.Value)
	case u.Until != nil:
		return fmt.Sprintf("%s until %s", u.Kind, *u.Until)
	case u.Seen != nil:
		var said []string
		for i := range u.Seen {
			said = append(said, fmt.Sprintf("%s %s %.4g", u.Seen[i].Kind, u.Seen[i].Group, u.Seen[i].TemperatureC))
		}
		return strings.Join(said, ", ")
	case u.House != nil:
		return fmt.Sprintf("%s %.4g L sap, %.4g L syrup, %.4g kg sugar, %.4g cords, %.4g h", u.Kind, u.House.SapL, u.House.SyrupL,
			u.House.SugarKg, u.House.WoodCords, u.House.Hours)
	case u.Row.Group && u.All:
		return fmt.Sprintf("%s all", u.Kind)
	case u.Row.Group && u.Group != "":
		return fmt.Sprintf("%s %s", u.Kind, u.Group)
	case u.Row.Measure != "":
		return fmt.Sprintf("%s %s %.4g %s", u.Kind, u.Group, u.Value, u.Row.Measure)
	}
	return string(u.Kind)
}
