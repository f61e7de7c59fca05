package message

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"thawline/forecast"
	"thawline/forecast/units"
)

// Evening is the text about tomorrow: it has room where the words are for, and is
// never empty. It quotes the outlook's work: every group, or their number, to
// which somebody goes before the next evening, and what has gone bad. What matters most
// comes first, and what matters least is left out first where it does not all fit: never
// the verdict, never what there is to do, and never that the weather is old.
func (w *Words) Evening(o *forecast.Outlook) string {
	if o.Season.Closed != nil {
		return w.closed(o)
	}
	name, room := w.bushName(o), w
	w = w.Open()
	day, found := tomorrow(o)
	verdict := w.Say("verdict_unknown", nil)
	plain := verdict
	var volume, volumeShort, weather, window, windowShort string
	if found {
		verdict = w.Say(verdictOf(&day), nil)
		plain = verdict
		if day.Why != "" {
			verdict = w.Say("text_why_"+string(day.Why), map[string]any{"Verdict": verdict})
		}
		window, windowShort = w.window(&day, ""), w.window(&day, "_short")
		weather = w.Say("text_weather", map[string]any{
			"Low":  units.PlainTemperature(day.TemperatureC.Min, w.reader.Units),
			"High": units.PlainTemperature(day.TemperatureC.Max, w.reader.Units)})
	}
	gather := w.gatherText(o)
	if found && gather[0] == "" {
		volume, volumeShort = w.volumes(&day)
	}
	if o.Work.Untapped {
		once, brief := w.Say("text_untapped", nil), w.Say("text_untapped_short", nil)
		gather = [5]string{once, once, once, brief, brief}
	}
	bad := w.tipOut(o)
	age := w.WeatherAge(&o.Source)
	hangs := w.hangs(o)
	head := func(n int) string {
		s, window := verdict, window
		if n <= 20 { // a name that has to be cut
			window = windowShort
		}
		if window != "" {
			s += ", " + window
		}
		if n > 0 && name != "" {
			s = shorten(name, n) + ": " + s
		}
		return s
	}
	danger, unknown := w.dangerText(o), w.unknownWarnings(o)
	var asking [][]string
	if ask := w.askLevel(o); ask != "" { // before the weather, which decides less
		asking = [][]string{
			{head(40), volume, bad[0], danger[0], gather[0], hangs, weather, age, unknown, ask},
			{head(20), volume, bad[0], danger[0], gather[0], hangs, age, unknown, ask},
			{head(20), volume, bad[0], danger[0], gather[0], age, ask},
			{head(12), volumeShort, bad[0], danger[0], gather[1], age, ask},
		}
	}
	for _, parts := range slices.Concat(asking, [][]string{
		{head(40), volume, bad[0], danger[0], gather[0], hangs, weather, age, unknown},
		{head(40), volume, bad[0], danger[0], gather[0], hangs, weather, age},
		{head(20), volume, bad[0], danger[0], gather[0], hangs, age},
		{head(20), volume, bad[0], danger[0], gather[0], age},
		{head(40), volume, bad[0], danger[0], gather[1], hangs, weather, age},
		{head(20), volume, bad[0], danger[0], gather[1], hangs, age},
		{head(20), volume, bad[0], danger[0], gather[1], age},
		{head(20), volume, bad[0], danger[0], gather[2], age},
		{head(12), volumeShort, bad[0], danger[0], gather[2], age},
		{head(20), volumeShort, bad[1], danger[0], gather[3], age},
		{head(12), volumeShort, bad[1], danger[0], gather[3], age},
		{head(12), volumeShort, bad[1], danger[0], gather[4], age},
		{head(0), volumeShort, bad[1], danger[0], gather[4], age},
		{verdict, bad[1], danger[0], gather[4], age},
		{plain, bad[1], danger[0], gather[4], age},
		{plain, bad[2], danger[0], gather[4], age},
		{plain, bad[2], danger[1], gather[4], age},
		{plain, bad[2], danger[2], gather[4], age},
		{"", bad[2], danger[2], gather[4], age},
		{"", "", danger[2], gather[4], age},
		{"", "", danger[2], "", age},
		{plain, bad[2], "", gather[4], age},
	}) {
		for i := range parts {
			parts[i] = w.one(parts[i])
		}
		if text, fits := room.fit(settled(sentences(parts))); fits && text != "" {
			return text
		}
	}
	return room.fitted(settled(plain))
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

// joining are words at the end of a name that is cut which want another after them.
var joining = regexp.MustCompile(`(?i)([ -](of|the|and|at|in|on|by|near|du|de|des|la|le|les|au|aux|à|et|sur|en|près))+$`)

// shorten cuts a name to n characters, at a space or a hyphen where there is one, and not after a
// word that joins ("Chaudières du haut" is "Chaudières", not "Chaudières du").
func shorten(name string, n int) string {
	r := []rune(name)
	if len(r) <= n {
		return name
	}
	for n > 1 && unicode.Is(unicode.M, r[n]) { // a letter stays whole
		n--
	}
	cut := string(r[:n])
	if i := strings.LastIndexAny(cut, " -"); i > n/2 {
		cut = joining.ReplaceAllString(cut[:i], "")
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

// verdictOf chooses the words for how likely a run is.
func verdictOf(d *forecast.Day) string {
	switch forecast.VerdictOf(d.RunProbability) {
	case forecast.WillRun:
		if d.Class == forecast.StrongRun {
			return "verdict_strong"
		}
		return "verdict_sure"
	case forecast.Likely:
		return "verdict_likely"
	case forecast.Maybe:
		return "verdict_maybe"
	case forecast.Unlikely:
		return "verdict_unlikely"
	}
	return "verdict_none"
}

// Window says when the taps run on a day, "" where a run is unlikely.
func (w *Words) Window(d *forecast.Day) string { return w.window(d, "") }

// window is Window, in its usual form or a short one.
func (w *Words) window(d *forecast.Day, form string) string {
	if d.Window == nil || d.RunProbability < 0.25 {
		return ""
	}
	from, to := w.Clock(d.Window.Start), w.Clock(d.Window.End)
	early, late := d.Window.Start.Round(time.Hour).Hour() == 0, d.Window.End.Round(time.Hour).Hour() == 0
	switch values := map[string]any{"From": from, "To": to}; {
	case early && late:
		return w.Say("text_all_day", nil)
	case late:
		return w.Say("text_into_night"+form, values)
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
		most, unit := w.AtMost(d.VolumeL.P90)
		upTo := w.Say("text_volume_upto", map[string]any{"High": most, "Unit": unit})
		return upTo, upTo
	}
	values := map[string]any{"Mid": mid, "Low": low, "High": high, "Unit": unit}
	return w.Say("text_volume", values), w.Say("text_volume_short", values)
}

// WorkVolume is RoughVolume, and finer where that would be none.
func (w *Words) WorkVolume(litres float64) (number, unit string) {
	if number, unit = w.RoughVolume(litres); number == "0" {
		return w.Volume(litres)
	}
	return number, unit
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

// AtMost is RoughVolume of what there may be at the most: one at least.
func (w *Words) AtMost(litres float64) (number, unit string) {
	if number, unit = w.RoughVolume(litres); number != "0" {
		return number, unit
	}
	_, short := units.VolumeIn(litres, w.reader.Units)
	return "1", w.unit(short, "1")
}

// staleHours is from when on the age of the weather is worth saying: services give new
// forecasts every six hours or sooner.
const staleHours = 9

// WeatherAge says how old the weather is where it is not fresh, and raises its voice once it is
// so old that a service must have stopped.
func (w *Words) WeatherAge(s *forecast.Source) string {
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
