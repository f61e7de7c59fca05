package message

import (
	"fmt"
	"strings"
	"time"

	"thawline/alerts"
	"thawline/forecast"
	"thawline/forecast/units"
)

// Alert is the text of a decision: of the evening, about tomorrow's run; of any
// other kind, one sentence or two and the age of the weather, where it is not fresh. At most one text
// message.
func (w *Words) Alert(d *alerts.Decision, o *forecast.Outlook) string {
	if d.Kind == alerts.Evening || d.Kind == alerts.Closed && o.Season.Closed != nil {
		return w.Evening(o)
	}
	name := ToGSM7(o.Bush.Name)
	if name == "" {
		name = ToGSM7(o.Site)
	}
	said := ToGSM7(w.Say(key(d), w.facts(d, o.IssuedAt.Location())))
	for i := range o.Work.Dangers { // with until when to go, and what is lost
		if one := &o.Work.Dangers[i]; d.Kind == alerts.OfficialWarning && one.Warning != "" && one.Warning == d.Facts.Warning {
			said = ToGSM7(w.dangerForms(o, one)[0]) + "."
		}
	}
	if d.Kind == alerts.Overflow || d.Kind == alerts.HardFreeze { // a round's own message
		if careful := said + " " + ToGSM7(w.Say("round_careful", nil)); fits(shorten(name, 16) + ": " + careful) {
			said = careful
		}
	}
	aged := said // with the age of the weather, where it is not fresh
	if age := w.WeatherAge(&o.Source); age != "" {
		aged += " " + ToGSM7(age) + "."
	}
	for _, text := range []string{shorten(name, 40) + ": " + aged, shorten(name, 16) + ": " + aged, aged, said} {
		if n, ok := Septets(text); ok && n <= SMSLimit {
			return text
		}
	}
	return shorten(said, SMSLimit)
}

func fits(text string) bool {
	n, ok := Septets(text)
	return ok && n <= SMSLimit
}

// closed is the line of thanks, with the figures of the season, that stands for the
// evening text once all taps are pulled. The weather's age is no matter then.
func (w *Words) closed(o *forecast.Outlook) string {
	d := alerts.Decision{Kind: alerts.Closed, Facts: alerts.FactsOfClosed(o.Season.Closed)}
	said := ToGSM7(w.Say(key(&d), w.facts(&d, o.IssuedAt.Location())))
	name := ToGSM7(strings.TrimSpace(o.Bush.Name))
	for _, longest := range []int{40, 16} {
		if text := shorten(name, longest) + ": " + said; name != "" {
			if n, ok := Septets(text); ok && n <= SMSLimit {
				return text
			}
		}
	}
	return shorten(said, SMSLimit)
}

// bigRunLikely is the chance from which a big run that people get ready for is called
// likely, and not possible: six in ten of those came on the days that were named
// (TestLeadTime, when no other was told).
const bigRunLikely = 0.4

func key(d *alerts.Decision) string {
	if d.Facts.What != "" {
		return "alert_" + string(d.Kind) + "_" + d.Facts.What
	}
	return "alert_" + string(d.Kind)
}

func (w *Words) facts(d *alerts.Decision, zone *time.Location) map[string]any {
	f := &d.Facts
	volume, unit := w.RoughVolume(f.VolumeL)
	values := map[string]any{
		"Group": f.Group, "Volume": volume, "Unit": unit, "Chance": units.Chance(f.Chance), "Score": f.Score, "Percentage": fmt.Sprintf("%.0f", f.Percentage),
		"Low": units.PlainTemperature(f.LowC, w.reader.Units),
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
		values["Event"], values["Issuer"], values["Ends"] = f.Event.In(w.Language()), f.Issuer.In(w.Language()), w.Weekday(ends)+" "+w.Clock(ends)
	}
	if !f.Ends.IsZero() {
		values["End"], values["InTen"] = w.Clock(f.Ends.In(zone)), units.InTen(f.Chance)
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
func (w *Words) Escalation(person, text string, reached bool) string {
	key := "escalation"
	if !reached {
		key = "escalation_unreached"
	}
	say := func(longest int, text string) string {
		return ToGSM7(w.Say(key, map[string]any{"Person": shorten(person, longest), "Text": text}))
	}
	without, _ := w.withoutAge(text)
	bush, rest, named := strings.Cut(without, ": ")
	tries := []string{say(40, text), say(40, without), say(20, without)}
	if named {
		tries = append(tries, say(20, shorten(bush, 16)+": "+rest), say(12, shorten(bush, 12)+": "+rest))
	}
	for _, said := range tries {
		if n, ok := Septets(said); ok && n <= SMSLimit {
			return said
		}
	}
	short := []rune(tries[len(tries)-1])
	for n, _ := Septets(string(short)); n > SMSLimit; n, _ = Septets(string(short)) {
		short = short[:len(short)-1]
	}
	return strings.TrimRight(string(short), " ")
}

// WithoutWeather is the text of a decision about a bush that has no outlook.
func (w *Words) WithoutWeather(d *alerts.Decision, name string, zone *time.Location) string {
	if d.Kind == alerts.NoForecast {
		since, _ := time.ParseInLocation(time.DateOnly, d.Facts.Date, zone) // zero where there never was any weather
		return w.Stopped(name, since)
	}
	return shorten(shorten(ToGSM7(name), 30)+": "+ToGSM7(w.Say(key(d), w.facts(d, zone))), SMSLimit)
}

// Stopped is what is said in the evening when no forecast is left at all: that
// nothing is known, since when, and what to do.
func (w *Words) Stopped(name string, since time.Time) string {
	text := ToGSM7(w.Say("alert_no_forecast_at_all", map[string]any{"Name": shorten(name, 30), "Day": w.Weekday(since), "Date": w.Date(since)}))
	if since.IsZero() {
		text = ToGSM7(w.Say("alert_no_forecast_ever", map[string]any{"Name": shorten(name, 30)}))
	}
	return shorten(text, SMSLimit)
}
