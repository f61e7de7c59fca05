package message

import (
	"slices"
	"strings"
	"time"

	"thawline/alerts"
	"thawline/forecast"
)

// gatherText says who goes when to which groups before the next evening, and how much
// there is then: each group with its hour and people where people differ, with names and
// people, without people, with the number of groups, and shortest. All are "" where nobody
// goes.
func (w *Words) gatherText(o *forecast.Outlook) (forms [5]string) {
	coming, sum := o.Work.Coming()
	return w.gatherWords(o, o.Work.Due(), coming, sum)
}

// newRound says so of the groups of which a decision tells, each as often as somebody goes
// there before the next evening.
func (w *Words) newRound(d *alerts.Decision, o *forecast.Outlook) (forms [5]string) {
	isNew := func(group string) bool {
		return slices.ContainsFunc(d.Facts.New, func(n alerts.NamedRound) bool { return n.Group == group })
	}
	due := slices.DeleteFunc(o.Work.Due(), func(g forecast.GroupWork) bool { return !isNew(g.Group) })
	var coming []forecast.CrewRound
	var sum forecast.Range
	for i := range o.Work.Rounds {
		r := &o.Work.Rounds[i]
		goes := false
		for _, g := range r.Groups {
			if isNew(g.Group) && r.Start.Before(o.Work.Until) {
				goes, sum = true, forecast.Range{P10: sum.P10 + g.LowL, P50: sum.P50 + g.VolumeL, P90: sum.P90 + g.HighL}
			}
		}
		if goes {
			coming = append(coming, *r)
		}
	}
	return w.gatherWords(o, due, coming, sum)
}

// gatherWords is gatherText of some groups and the rounds to them, which carry in so much.
func (w *Words) gatherWords(o *forecast.Outlook, due []forecast.GroupWork, coming []forecast.CrewRound,
	sum forecast.Range) (forms [5]string) {
	if len(due) == 0 {
		return forms
	}
	var names, who []string
	for i := range due {
		g := &due[i]
		names = append(names, w.GroupName(&o.Bush, g.Group))
		for _, id := range g.Who {
			if name := o.Bush.PersonName(id); !slices.Contains(who, name) {
				who = append(who, name)
			}
		}
	}
	first := *due[0].GoAt
	whenOf := func(how string) string {
		return w.Say("text_when_"+dayWord(o.IssuedAt, first)+how, map[string]any{"Time": w.Clock(first), "Day": w.Weekday(first)})
	}
	when := whenOf("")
	if !forecast.OneHour(coming) {
		when = whenOf("_from")
	}
	groups := strings.Join(names, ", ")
	number := w.Plural("text_groups", len(due))
	if len(due) == 1 {
		number = shorten(names[0], 16)
	}
	if len(due) > 1 && len(due) == o.Work.In() {
		number = w.AllGroups(len(due))
		if len(due) > 2 {
			groups = number
		}
	}
	people := ""
	if len(who) <= 3 {
		people = w.whoOf(who)
	}
	mid, unit := w.RoughVolume(sum.P50)
	low, _ := w.RoughVolume(sum.P10)
	high, _ := w.RoughVolume(sum.P90)
	say := func(key, groups, when, who string) string {
		values := map[string]any{"Groups": groups, "When": when, "Who": who, "Mid": mid, "Low": low, "High": high, "Unit": unit}
		if w.hardlyAny(sum) {
			key = "text_gather_upto"
			values["High"], values["Unit"] = w.AtMost(sum.P90)
		}
		return w.Say(key, values)
	}
	forms = [5]string{"", say("text_gather", groups, when, people), say("text_gather", groups, when, ""),
		say("text_gather", number, when, ""), say("text_gather_short", number, when, "")}
	if forms[0] = forms[1]; len(who) > 1 {
		if each, differ := w.whoGoesWhere(o, due); differ {
			forms[0] = say("text_gather", each, whenOf("_each"), "")
		}
	}
	return forms
}

// hardlyOf is how many times less than what there may be the likely sap is where it says
// nothing.
const hardlyOf = 5

// hardlyAny reports whether most likely next to nothing is there, though there may be much: then it is
// told by how much at the most.
func (w *Words) hardlyAny(sum forecast.Range) bool {
	mid, _ := w.RoughVolume(sum.P50)
	low, _ := w.RoughVolume(sum.P10)
	return mid == "0" || low == "0" && sum.P50 < sum.P90/hardlyOf
}

// Amount is what there is to carry in, in words of one reader: the likely figure, or how much at the most.
func (w *Words) Amount(sum forecast.Range) string {
	if w.hardlyAny(sum) {
		most, unit := w.AtMost(sum.P90)
		return w.Say("attend_upto", map[string]any{"Volume": most}) + " " + unit
	}
	n, unit := w.RoughVolume(sum.P50)
	return n + " " + unit
}

// About is Amount where it stands in a sentence: "about 45 gallons", "up to 130 gallons".
func (w *Words) About(sum forecast.Range) string {
	if w.hardlyAny(sum) {
		return w.Amount(sum)
	}
	return w.Say("about_amount", map[string]any{"Volume": w.Amount(sum)})
}

// AllGroups is all the groups of a bush, in words.
func (w *Words) AllGroups(n int) string {
	if n == 2 {
		return w.Say("text_both_groups", nil)
	}
	return w.Plural("text_all_groups", n)
}

// whoGoesWhere lists groups that are due with hours and people, those of one hour and the
// same people together. It reports false where the same people go everywhere, or not all of
// it is on one day.
func (w *Words) whoGoesWhere(o *forecast.Outlook, due []forecast.GroupWork) (each string, differ bool) {
	var parts []string
	for i := 0; i < len(due); {
		first := &due[i]
		var names, who []string
		for _, id := range first.Who {
			who = append(who, o.Bush.PersonName(id))
		}
		for ; i < len(due) && due[i].GoAt.Equal(*first.GoAt) && slices.Equal(due[i].Who, first.Who); i++ {
			names = append(names, w.GroupName(&o.Bush, due[i].Group))
		}
		differ = differ || !slices.Equal(first.Who, due[0].Who)
		if dayWord(o.IssuedAt, *first.GoAt) != dayWord(o.IssuedAt, *due[0].GoAt) {
			return "", false
		}
		parts = append(parts, w.Say("text_gather_each",
			map[string]any{"Group": strings.Join(names, ", "), "Time": w.Clock(*first.GoAt), "Who": w.whoOf(who)}))
	}
	return strings.Join(parts, ", "), differ
}

// whoOf names people in brackets, "" for none.
func (w *Words) whoOf(names []string) string {
	if len(names) == 0 {
		return ""
	}
	return w.Say("text_who", map[string]any{"Names": strings.Join(names, ", ")})
}

// dayWord is how a text names the day of a moment: today, tomorrow, or by its weekday.
func dayWord(now, at time.Time) string {
	here := now.In(at.Location())
	switch at.Format(time.DateOnly) {
	case here.Format(time.DateOnly):
		return "today"
	case here.AddDate(0, 0, 1).Format(time.DateOnly):
		return "tomorrow"
	}
	return "day"
}

// tipOut names the groups whose sap has gone bad, names one and counts more, or counts
// them. All are "" where there are none.
func (w *Words) tipOut(o *forecast.Outlook) (forms [3]string) {
	names := w.goneBad(o)
	if len(names) == 0 {
		return forms
	}
	say := func(groups string) string { return w.Say("text_tip_out", map[string]any{"Groups": groups}) }
	counted := w.Plural("text_groups", len(names))
	forms = [3]string{say(strings.Join(names, ", ")), say(counted), say(counted)}
	if len(names) == 1 {
		forms[1] = say(shorten(names[0], 16))
	}
	return forms
}

// goneBad names the groups whose sap is to be tipped out.
func (w *Words) goneBad(o *forecast.Outlook) (names []string) {
	for _, id := range o.Work.ToTipOut() {
		names = append(names, w.GroupName(&o.Bush, id))
	}
	return names
}

// TipOut says in one sentence of which groups the sap is to be tipped out, "" where none.
func (w *Words) TipOut(o *forecast.Outlook) string {
	names := w.goneBad(o)
	if len(names) == 0 {
		return ""
	}
	return w.Say("work_tip_out", map[string]any{"Group": w.Joined(names)})
}

// hangs says how much hangs already where nobody is to gather it yet, "" for little.
func (w *Words) hangs(o *forecast.Outlook) string {
	held, ice := 0.0, 0.0
	for i := range o.Work.Groups {
		if g := &o.Work.Groups[i]; g.Decision == forecast.Leave || g.Decision == forecast.Gather && !g.GoAt.Before(o.Work.Until) {
			held, ice = held+g.HeldL.P50, ice+g.IceL
		}
	}
	if n, _ := w.RoughVolume(held + ice); held+ice < littleL || n == "0" {
		return ""
	}
	key := "text_hangs"
	if len(o.Work.Due()) > 0 { // beside what somebody gathers
		key = "text_hangs_rest"
	}
	return w.Say(key, map[string]any{"Volume": w.Hangs(held, ice)})
}

// Hangs says how much hangs with its unit, litres, and how much of it is ice where that
// is as much as to be seen.
func (w *Words) Hangs(liquidL, iceL float64) string {
	const seen = 0.25 // of all
	n, unit := w.RoughVolume(liquidL)
	all, units := w.RoughVolume(liquidL + iceL)
	switch {
	case iceL < littleL || iceL < seen*(liquidL+iceL):
		return w.Say("hangs_liquid", map[string]any{"Volume": n, "Unit": unit})
	case liquidL < littleL || n == "0":
		return w.Say("hangs_frozen", map[string]any{"Volume": all, "Unit": units})
	}
	ice, _ := w.RoughVolume(iceL)
	return w.Say("hangs_partly", map[string]any{"Volume": n, "Unit": unit, "Ice": ice})
}

// littleL is too little sap to speak of.
const littleL = 10

// askLevel asks how full the pails of a group are, of the one that loses most if nobody
// comes; "" where no word would decide.
func (w *Words) askLevel(o *forecast.Outlook) string {
	var of *forecast.GroupWork
	for i := range o.Work.Groups {
		if g := &o.Work.Groups[i]; g.AskLevel && (of == nil || g.AloneLossL > of.AloneLossL) {
			of = g
		}
	}
	if of == nil {
		return ""
	}
	return w.Say("text_ask_level", map[string]any{"Group": o.Bush.GroupName(of.Group)})
}

// NextRound says when somebody goes next and what the rounds carry in then, as the evening
// text does, or that nobody needs to.
func (w *Words) NextRound(o *forecast.Outlook, now time.Time) string {
	return w.nextRound(o, now, [2]string{"gather_soon", "gather_later"}, [2]string{"gather_soon_from", "gather_later_from"})
}

// AnswerNext is NextRound for who asks by text.
func (w *Words) AnswerNext(o *forecast.Outlook, now time.Time) string {
	return w.nextRound(o, now, [2]string{"reply_next", "reply_next"}, [2]string{"reply_next_from", "reply_next_from"})
}

// nextRound is NextRound with the keys of its words, for a round that is due and a later one:
// where all begin in one hour, and where they do not.
func (w *Words) nextRound(o *forecast.Outlook, now time.Time, together, apart [2]string) string {
	if o.Season.Closed != nil {
		return w.Say("rounds_closed", nil)
	}
	if o.Work.Untapped {
		return w.Say("rounds_untapped", nil)
	}
	groups, due := o.Work.Next()
	if len(groups) == 0 {
		return w.Say("gather_none", nil)
	}
	at := *groups[0].GoAt
	when := w.Weekday(at) + " " + w.Date(at)
	today := now.In(at.Location())
	switch at.Format(time.DateOnly) {
	case today.Format(time.DateOnly):
		when = w.Say("when_today", nil)
	case today.AddDate(0, 0, 1).Format(time.DateOnly):
		when = w.Say("when_tomorrow", nil) + ", " + when
	}
	coming, carried := o.Work.Coming()
	keys := together
	if !forecast.OneHour(coming) {
		keys = apart
	}
	key := keys[1]
	if due {
		key = keys[0]
	}
	var names, who []string
	for i := range groups {
		names = append(names, w.GroupName(&o.Bush, groups[i].Group))
	}
	for i := range coming {
		for _, id := range coming[i].Who {
			if name := o.Bush.PersonName(id); !slices.Contains(who, name) {
				who = append(who, name)
			}
		}
	}
	return w.Say(key, map[string]any{"When": when, "Time": w.Clock(at), "Amount": w.About(carried), "Who": w.whoOf(who),
		"Groups": strings.Join(names, ", ")})
}
