package message

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"thawline/forecast"
	"thawline/forecast/units"
)

// Evening is the text about tomorrow: at most one text message in the GSM 7-bit
// alphabet, never empty. It quotes the outlook's work: every group, or their number, to
// which somebody goes before the next evening, and what has gone bad. What matters most
// comes first, and what matters least is left out first where it does not all fit: never
// the verdict, never what there is to do, and never that the weather is old.
func (w *Words) Evening(o *forecast.Outlook) string {
	if o.Season.Closed != nil {
		return w.closed(o)
	}
	name := ToGSM7(strings.TrimSpace(o.Bush.Name))
	if name == "" {
		name = ToGSM7(o.Site)
	}
	day, found := tomorrow(o)
	verdict := w.Say("verdict_unknown", nil)
	plain := verdict
	var volume, volumeShort, weather, window string
	if found {
		verdict = w.Say(verdictOf(&day), nil)
		plain = verdict
		if day.Why != "" {
			verdict = w.Say("text_why_"+string(day.Why), map[string]any{"Verdict": verdict})
		}
		window = w.window(&day)
		weather = w.Say("text_weather", map[string]any{
			"Low":  units.PlainTemperature(day.TemperatureC.Min, w.reader.Units),
			"High": units.PlainTemperature(day.TemperatureC.Max, w.reader.Units)})
	}
	gather := w.gatherText(o)
	if found && gather[0] == "" {
		volume, volumeShort = w.volumes(&day)
	}
	bad, badShort := w.tipOut(o)
	age := w.age(&o.Source)
	hangs := w.hangs(o)
	head := func(n int) string {
		s := verdict
		if window != "" {
			s += ", " + window
		}
		if n > 0 && name != "" {
			s = shorten(name, n) + ": " + s
		}
		return s
	}
	danger, unknown := w.dangerText(o), w.unknownWarnings(o)
	for _, parts := range [][]string{
		{head(40), volume, bad, danger[0], gather[0], hangs, weather, age, unknown},
		{head(40), volume, bad, danger[0], gather[0], hangs, weather, age},
		{head(20), volume, bad, danger[0], gather[0], hangs, age},
		{head(20), volume, bad, danger[0], gather[0], age},
		{head(20), volume, bad, danger[0], gather[1], age},
		{head(12), volumeShort, bad, danger[0], gather[1], age},
		{head(20), volumeShort, badShort, danger[0], gather[2], age},
		{head(12), volumeShort, badShort, danger[0], gather[2], age},
		{head(12), volumeShort, badShort, danger[0], gather[3], age},
		{head(0), volumeShort, badShort, danger[0], gather[3], age},
		{verdict, badShort, danger[0], gather[3], age},
		{plain, badShort, danger[0], gather[3], age},
		{plain, badShort, danger[1], gather[3], age},
		{plain, badShort, danger[2], gather[3], age},
		{"", badShort, danger[2], gather[3], age},
		{"", "", danger[2], gather[3], age},
		{"", "", danger[2], "", age},
		{plain, badShort, "", gather[3], age},
	} {
		text := ToGSM7(sentences(parts))
		if n, ok := Septets(text); ok && n > 0 && n <= SMSLimit {
			return text
		}
	}
	return shorten(ToGSM7(plain), SMSLimit/2)
}

func sentences(parts []string) string {
	var said []string
	for _, p := range parts {
		if p != "" {
			said = append(said, p+".")
		}
	}
	return strings.Join(said, " ")
}

// shorten cuts a name to n characters, at a space where there is one.
func shorten(name string, n int) string {
	r := []rune(name)
	if len(r) <= n {
		return name
	}
	cut := string(r[:n])
	if i := strings.LastIndexByte(cut, ' '); i > n/2 {
		cut = cut[:i]
	}
	return strings.TrimRight(cut, " -,.")
}

func tomorrow(o *forecast.Outlook) (forecast.Day, bool) {
	if len(o.Days) < 2 {
		return forecast.Day{}, false
	}
	return o.Days[1], true
}

// EveningWords are the keys of the words for how likely a run is, the surest first.
var EveningWords = []string{"verdict_strong", "verdict_sure", "verdict_likely", "verdict_maybe", "verdict_unlikely", "verdict_none"}

// EveningWord is the key of the words for how likely a run on a day is.
func EveningWord(d *forecast.Day) string { return verdictOf(d) }

// verdictOf chooses the words for how likely a run is: the bounds are those at
// which people plan, get ready, keep an eye open, or sleep in.
func verdictOf(d *forecast.Day) string {
	switch p := d.RunProbability; {
	case p >= 0.85 && d.Class == forecast.StrongRun:
		return "verdict_strong"
	case p >= 0.85:
		return "verdict_sure"
	case p >= 0.55:
		return "verdict_likely"
	case p >= 0.25:
		return "verdict_maybe"
	case p >= 0.08:
		return "verdict_unlikely"
	}
	return "verdict_none"
}

func (w *Words) window(d *forecast.Day) string {
	if d.Window == nil || d.RunProbability < 0.25 {
		return ""
	}
	from, to := w.Clock(d.Window.Start), w.Clock(d.Window.End)
	early, late := d.Window.Start.Round(time.Hour).Hour() == 0, d.Window.End.Round(time.Hour).Hour() == 0
	switch values := map[string]any{"From": from, "To": to}; {
	case early && late:
		return w.Say("text_all_day", nil)
	case late:
		return w.Say("text_into_night", values)
	case early:
		return w.Say("text_until", values)
	default:
		return w.Say("text_window", values)
	}
}

func (w *Words) volumes(d *forecast.Day) (long, short string) {
	if d.RunProbability < 0.25 {
		return "", ""
	}
	mid, unit := w.RoughVolume(d.VolumeL.P50)
	low, _ := w.RoughVolume(d.VolumeL.P10)
	high, _ := w.RoughVolume(d.VolumeL.P90)
	if mid == "0" || low == "0" {
		upTo := w.Say("text_volume_upto", map[string]any{"High": high, "Unit": unit})
		return upTo, upTo
	}
	values := map[string]any{"Mid": mid, "Low": low, "High": high, "Unit": unit}
	return w.Say("text_volume", values), w.Say("text_volume_short", values)
}

// RoughVolume writes a volume no finer than it is known: fives from twenty,
// tens from a hundred, two digits beyond that.
func (w *Words) RoughVolume(litres float64) (number, unit string) {
	v, short := units.VolumeIn(litres, w.reader.Units)
	step := 1.0
	switch {
	case v >= 1000:
		step = math.Pow(10, math.Floor(math.Log10(v))-1)
	case v >= 100:
		step = 10
	case v >= 20:
		step = 5
	}
	number = strconv.FormatFloat(math.Round(v/step)*step, 'f', 0, 64)
	return number, w.unit(short, number)
}

// gatherText says who goes when to which groups before the next evening, and how much
// there is then: with names and people, without people, with the number of groups, and
// shortest. All are "" where nobody goes.
func (w *Words) gatherText(o *forecast.Outlook) (forms [4]string) {
	due := o.Work.Due()
	if len(due) == 0 {
		return forms
	}
	var names, who []string
	var sum forecast.Range
	times := map[time.Time]bool{}
	for i := range due {
		g := &due[i]
		names = append(names, o.Bush.GroupName(g.Group))
		for _, id := range g.Who {
			if name := o.Bush.PersonName(id); !slices.Contains(who, name) {
				who = append(who, name)
			}
		}
		sum = forecast.Range{P10: sum.P10 + g.VolumeL.P10, P50: sum.P50 + g.VolumeL.P50, P90: sum.P90 + g.VolumeL.P90}
		times[*g.GoAt] = true
	}
	first := *due[0].GoAt
	key := "text_when_" + dayWord(o.IssuedAt, first)
	if len(times) > 1 {
		key += "_from"
	}
	when := w.Say(key, map[string]any{"Time": w.Clock(first), "Day": w.Weekday(first)})
	groups := strings.Join(names, ", ")
	number := w.Plural("text_groups", len(due))
	if len(due) > 1 && len(due) == o.Work.In() {
		number = w.Plural("text_all_groups", len(due))
		if len(due) > 2 {
			groups = number
		}
	}
	people := ""
	if len(who) > 0 && len(who) <= 3 {
		people = w.Say("text_who", map[string]any{"Names": strings.Join(who, ", ")})
	}
	mid, unit := w.RoughVolume(sum.P50)
	low, _ := w.RoughVolume(sum.P10)
	high, _ := w.RoughVolume(sum.P90)
	say := func(key, groups, who string) string {
		return w.Say(key, map[string]any{"Groups": groups, "When": when, "Who": who, "Mid": mid, "Low": low, "High": high, "Unit": unit})
	}
	return [4]string{say("text_gather", groups, people), say("text_gather", groups, ""), say("text_gather", number, ""), say("text_gather_short", number, "")}
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

// tipOut names the groups whose sap has gone bad, or counts them.
func (w *Words) tipOut(o *forecast.Outlook) (long, short string) {
	var names []string
	for _, id := range o.Work.ToTipOut() {
		names = append(names, o.Bush.GroupName(id))
	}
	if len(names) == 0 {
		return "", ""
	}
	short = w.Plural("text_groups", len(names))
	if len(names) == 1 {
		short = shorten(names[0], 16)
	}
	return w.Say("text_tip_out", map[string]any{"Groups": strings.Join(names, ", ")}), w.Say("text_tip_out", map[string]any{"Groups": short})
}

// hangs says how much hangs already where nobody is to gather it yet, "" for little.
func (w *Words) hangs(o *forecast.Outlook) string {
	held := 0.0
	for i := range o.Work.Groups {
		if g := &o.Work.Groups[i]; g.Decision == forecast.Leave || g.Decision == forecast.Gather && !g.GoAt.Before(o.Work.Until) {
			held += g.HeldL.P50
		}
	}
	n, unit := w.RoughVolume(held)
	if held < littleL || n == "0" {
		return ""
	}
	return w.Say("text_hangs", map[string]any{"Volume": n, "Unit": unit})
}

// littleL is too little sap to speak of.
const littleL = 10

// staleHours is from when on the age of the weather is worth saying: services give new
// forecasts every six hours or sooner.
const staleHours = 9

// age says how old the weather is where it is not fresh, and raises its voice once it is
// so old that a service must have stopped.
func (w *Words) age(s *forecast.Source) string {
	hours := int(math.Round(s.AgeHours))
	switch {
	case hours < staleHours && !s.Kept:
		return ""
	case hours >= 48:
		return w.Plural("text_age_days", hours/24)
	case s.Kept || hours >= 18:
		return w.Plural("text_age_kept", max(hours, 1))
	}
	return w.Plural("text_age", hours)
}
