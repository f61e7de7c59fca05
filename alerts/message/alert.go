package message

import (
	"fmt"
	"maps"
	"strings"
	"time"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/units"
)

// Alert is the text of a decision: of the evening, about tomorrow's run; of any
// other kind, one sentence or two and the age of the weather, where it is not fresh. It
// has room where the words are for.
func (w *Words) Alert(d *alerts.Decision, o *forecast.Outlook) string {
	if d.Kind == alerts.Evening || d.Kind == alerts.Closed && o.Season.Closed != nil {
		return w.Evening(o)
	}
	open := w.Open()
	name := w.bushName(o)
	said := open.Say(w.keyOf(d, o.IssuedAt), open.facts(d, o))
	if d.Kind == alerts.NewRound {
		said = w.newRoundThatFits(d, o, shorten(name, 16)+": ")
	}
	for i := range o.Work.Dangers { // with until when to go, and what is lost
		if one := &o.Work.Dangers[i]; d.Kind == alerts.OfficialWarning && one.Warning != "" && one.Warning == d.Facts.Warning {
			said = open.dangerForms(o, one)[0] + "."
		}
	}
	said = settled(said)
	if d.Kind == alerts.Overflow || d.Kind == alerts.HardFreeze { // a round's own message
		careful := said + " " + w.Say("round_careful", nil)
		if _, fits := w.fit(shorten(name, 16) + ": " + careful); fits {
			said = careful
		}
	}
	aged := "" // the age of the weather, where it is not fresh
	if age := w.WeatherAge(&o.Source); age != "" {
		aged = " " + age + "."
	}
	for _, ways := range w.classMore(d, o) {
		for _, way := range ways {
			if _, fits := w.fit(shorten(name, 16) + ": " + said + " " + way + aged); fits {
				said += " " + way
				break
			}
		}
	}
	aged = said + aged
	return w.fitted(shorten(name, 40)+": "+aged, shorten(name, 16)+": "+aged, aged, said)
}

// newRoundThatFits is the longest form of a new round for which there is room after a name.
func (w *Words) newRoundThatFits(d *alerts.Decision, o *forecast.Outlook, name string) (said string) {
	open := w.Open()
	for _, gather := range open.newRound(d, o) {
		said = open.Say(key(d), map[string]any{"Gather": gather})
		if _, fits := w.fit(name + settled(said)); fits {
			break
		}
	}
	return said
}

// AlertOfGroups is the text of decisions that say nearly the same of several groups
// (alerts.Together), the earliest hour first: one sentence that names them all, with what they
// hold together. name is the bush's, aged one of their texts, whose age of the weather it takes over.
func (w *Words) AlertOfGroups(list []alerts.Decision, name string, zone *time.Location, aged string) string {
	open, first := w.Open(), list[0]
	names := make([]string, len(list))
	first.Facts.VolumeL = 0
	for i := range list {
		f := &list[i].Facts
		names[i] = w.nameOf("group_name_"+f.GroupID, f.Group)
		first.Facts.VolumeL += f.VolumeL
	}
	values, what := open.facts(&first, &forecast.Outlook{IssuedAt: time.Time{}.In(zone)}), "groups_keep"
	if first.Facts.What == "tip_out" {
		what = "groups_gone_bad"
	}
	say := func(groups string) string {
		values["Groups"] = groups
		return settled(open.Say(what, values))
	}
	named, counted := say(w.Joined(names)), say(w.Plural("text_groups", len(names)))
	if len(list) == first.Facts.OfGroups {
		if counted = say(w.AllGroups(len(list))); len(list) > 2 {
			named = counted
		}
	}
	_, age := w.withoutAge(aged)
	if age != "" {
		age = " " + age
	}
	return w.fitted(shorten(name, 40)+": "+named+age, shorten(name, 16)+": "+named+age, shorten(name, 40)+": "+counted+age,
		shorten(name, 16)+": "+counted+age, counted+age, counted)
}

// bushName is what a bush is called in texts: by its id where nothing of its name can be
// written.
func (w *Words) bushName(o *forecast.Outlook) string {
	name := w.nameOf("bush_name_"+o.Site, strings.TrimSpace(o.Bush.Name))
	if w.written(name) == "" {
		return o.Site
	}
	return name
}

// nameOf is the reader's own name for a bush or a group, or what the settings call it.
func (w *Words) nameOf(key, usual string) string {
	return w.habit(key, usual)
}

// GroupName is what a group is called in the reader's language.
func (w *Words) GroupName(b *forecast.Bush, id string) string {
	return w.nameOf("group_name_"+id, b.GroupName(id))
}

// closed is the line of thanks, with the figures of the season, that stands for the
// evening text once all taps are pulled. The weather's age is no matter then.
func (w *Words) closed(o *forecast.Outlook) string {
	d := alerts.Decision{Kind: alerts.Closed, Facts: alerts.FactsOfClosed(o.Season.Closed)}
	open := w.Open()
	said, name := settled(open.Say(key(&d), open.facts(&d, o))), w.bushName(o)
	if name == "" {
		return w.fitted(said)
	}
	return w.fitted(shorten(name, 40)+": "+said, shorten(name, 16)+": "+said, said)
}

// bigRunLikely is the chance from which a big run that people get ready for is called
// likely, and not possible: six in ten of those came on the days that were named
// (TestLeadTime, when no other was told).
const bigRunLikely = 0.4

// almostSure is the chance from which a text says so in words: nobody goes by the difference
// between 96 and 99 %.
const almostSure = 0.95

// TooNear is how long before an hour nobody who reads of it gets there by then (common practice:
// who is told has to find boots and walk or drive to the trees).
const TooNear = 30 * time.Minute

// keyOf is key, or that of what is almost sure, or of today, where the reader's language has
// words for it.
func (w *Words) keyOf(d *alerts.Decision, now time.Time) string {
	plain := key(d)
	more := ""
	switch {
	case d.Kind == alerts.Overflow && !d.Facts.At.IsZero() && !d.Facts.At.After(now.Add(TooNear)) && (d.Facts.What == "" || d.Facts.VolumeL > 0):
		more = plain + "_now" // the round of that hour is under way, or was missed, or nobody gets there by then
	case d.Kind == alerts.Overflow && d.Facts.Chance >= almostSure:
		more = plain + "_sure"
	case d.Kind == alerts.Change && d.Facts.What == "called_off" && d.Facts.Date == now.Format(time.DateOnly):
		more = plain + "_today"
	case d.Kind == alerts.Change && !d.Facts.Window.IsZero() && !d.Facts.Window.After(now):
		more = plain + "_already" // an hour that is over says nothing to whoever reads it
	}
	if _, has := w.tongues[0].texts[more]; has {
		return more
	}
	return plain
}

func key(d *alerts.Decision) string {
	if d.Facts.What != "" {
		return "alert_" + string(d.Kind) + "_" + d.Facts.What
	}
	return "alert_" + string(d.Kind)
}

func (w *Words) facts(d *alerts.Decision, o *forecast.Outlook) map[string]any {
	f, zone := &d.Facts, o.IssuedAt.Location()
	volume, unit := w.RoughVolume(f.VolumeL)
	values := map[string]any{
		"Group": w.nameOf("group_name_"+f.GroupID, f.Group), "Volume": volume, "Unit": unit, "Chance": units.Chance(f.Chance),
		"Score": f.Score, "Percentage": fmt.Sprintf("%.0f", f.Percentage),
	}
	values["Lost"], values["LostUnit"] = w.WorkVolume(f.VolumeL)
	if f.LowC != nil {
		values["Low"] = units.PlainTemperature(*f.LowC, w.reader.Units)
	}
	if !f.At.IsZero() {
		at := w.Deadline(f.At.In(zone))
		values["Time"], values["Day"] = w.Clock(at), w.Weekday(at)
	}
	if t, err := time.Parse(time.DateOnly, f.Date); err == nil {
		values["Day"], values["Date"] = w.Weekday(t), w.Date(t)
	}
	for name, date := range map[string]string{"From": f.From, "To": f.To} {
		if t, err := time.Parse(time.DateOnly, date); err == nil {
			values[name] = w.Date(t)
		}
	}
	if len(f.Event) > 0 {
		ends := f.Ends.In(zone)
		values["Event"], values["Issuer"], values["Ends"] = w.quoted(f.Event), w.quoted(f.Issuer), w.Weekday(ends)+" "+w.Clock(ends)
	}
	if !f.Ends.IsZero() {
		values["End"], values["InTen"] = w.Clock(f.Ends.In(zone)), units.InTen(f.Chance)
	}
	if d.Kind.OfClass() {
		maps.Copy(values, w.classValues(d, o))
	}
	if d.Kind == alerts.LookingAhead || d.Kind == alerts.GetReady {
		values["When"], values["Days"], values["Likely"] = w.oneOf(f.From, f.To), f.Days, w.Say("big_run_possible", nil)
		if f.Chance >= bigRunLikely {
			values["Likely"] = w.Say("big_run_likely", nil)
		}
	}
	if f.Visits > 0 {
		syrup, syrupUnit := w.RoughVolume(f.SyrupL)
		values["Visits"], values["Syrup"], values["SyrupUnit"] = w.Plural("visits", f.Visits), syrup, syrupUnit
	}
	if !f.Window.IsZero() {
		values["Start"] = w.Clock(f.Window.In(zone))
	}
	return values
}

// Escalation says whose answer is missing, or who could not be reached, and of what. Where
// not all of it fits into one text message the age of the weather goes first, which the
// text may end with, then the ends of names: what happens and what to do comes whole.
//
// late means that the hour by which somebody should have gone is past.
func (w *Words) Escalation(person, text string, reached, late bool) string {
	keys := [2]string{"escalation_late", "escalation"}
	if !reached {
		keys = [2]string{"escalation_unreached_late", "escalation_unreached"}
	}
	return w.passedOn(keys, "Person", person, text, late)
}

// ToNobody says what there is to do at a bush where nobody gets messages, late as in Escalation.
func (w *Words) ToNobody(bush, text string, late bool) string {
	for _, longest := range []int{40, 16} { // as Alert begins
		if rest, named := strings.CutPrefix(text, w.written(shorten(bush, longest))+": "); named {
			text = rest
			break
		}
	}
	return w.passedOn([2]string{"escalation_nobody_late", "escalation_nobody"}, "Bush", bush, text, late)
}

// passedOn is somebody's text in the words of the first key, where it is late, or of the second,
// which stands in where there is no room for the first; who is named in them, a person or a bush, by
// the name's place.
func (w *Words) passedOn(by [2]string, place, who, text string, late bool) string {
	without, _ := w.withoutAge(text)
	bare := strings.TrimSuffix(without, " "+w.written(w.Say("round_careful", nil))) // the person was told to mind
	bush, rest, named := strings.Cut(bare, ": ")
	keys := by[:]
	if !late {
		keys = by[1:]
	}
	var tries []string
	for _, key := range keys {
		say := func(longest int, text string) string {
			return w.Say(key, map[string]any{place: shorten(who, longest), "Text": text})
		}
		tries = append(tries, say(40, text), say(40, without), say(20, without), say(40, bare), say(20, bare))
		if i := strings.LastIndex(bare, ", "); i > strings.LastIndex(strings.TrimSuffix(bare, "."), ". ") && i > len(bare)/2 {
			tries = append(tries, say(20, bare[:i]+"."), say(12, bare[:i]+".")) // "sooner if you can" goes, and no word is cut
		}
		if named {
			tries = append(tries, say(20, shorten(bush, 16)+": "+rest), say(12, shorten(bush, 12)+": "+rest))
		}
	}
	return w.fitted(tries...)
}

// Reply is what is answered to somebody, with each sentence settled. It may be longer than
// a message: whoever asks wants the answer whole.
func (w *Words) Reply(said string) string { return w.written(settled(said)) }

// WithoutWeather is the text of a decision about a bush that has no outlook.
func (w *Words) WithoutWeather(d *alerts.Decision, name string, zone *time.Location) string {
	if d.Kind == alerts.NoForecast {
		since, _ := time.ParseInLocation(time.DateOnly, d.Facts.Date, zone) // zero where there never was any weather
		return w.Stopped(name, since)
	}
	open := w.Open()
	said := settled(open.Say(key(d), open.facts(d, &forecast.Outlook{IssuedAt: time.Time{}.In(zone)})))
	return w.fitted(shorten(name, 30)+": "+said, said)
}

// Stopped is what is said in the evening when no forecast is left at all: that
// nothing is known, since when, and what to do.
func (w *Words) Stopped(name string, since time.Time) string {
	open := w.Open()
	text := open.Say("alert_no_forecast_at_all",
		map[string]any{"Name": shorten(name, 30), "Day": open.Weekday(since), "Date": open.Date(since)})
	if since.IsZero() {
		text = open.Say("alert_no_forecast_ever", map[string]any{"Name": shorten(name, 30)})
	}
	return w.fitted(settled(text))
}

// Question asks whether a warning came true, without saying how to answer.
func (w *Words) Question(d *alerts.Decision) string {
	return w.Say(key(d), map[string]any{"Group": w.nameOf("group_name_"+d.Facts.GroupID, d.Facts.Group)})
}

// QuestionText is the question as a message, with the bush's name and how to answer.
func (w *Words) QuestionText(bush string, d *alerts.Decision) string {
	text := w.Question(d) + " " + w.Say("question_how", nil)
	return w.fitted(shorten(bush, 30)+". "+text, text)
}

// Answered thanks for an answer, and says which it was.
func (w *Words) Answered(yes bool) string {
	if yes {
		return w.Say("reply_answer_yes", nil)
	}
	return w.Say("reply_answer_no", nil)
}

// oneOf names a local date by its weekday, or two of which nobody knows which it will be.
func (w *Words) oneOf(first, second string) string {
	from, err := time.Parse(time.DateOnly, first)
	if err != nil {
		return ""
	}
	to, err := time.Parse(time.DateOnly, second)
	if err != nil || to.Equal(from) {
		return w.Weekday(from)
	}
	return w.Say("either_day", map[string]any{"First": w.Weekday(from), "Second": w.Weekday(to)})
}
