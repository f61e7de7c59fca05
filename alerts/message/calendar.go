package message

import (
	"strings"

	"thawline/forecast"
)

// CalendarDay is a day's run as a calendar shows it, by the words of the evening text:
// how likely, and how much.
func (w *Words) CalendarDay(name string, d *forecast.Day) (summary, text string) {
	likely := w.Say("calendar_"+strings.TrimPrefix(verdictOf(d), "verdict_"), nil)
	volume, _ := w.volumes(d)
	return w.Say("calendar_run", map[string]any{"Name": name, "Verdict": likely}),
		sentences([]string{volume, w.Say("calendar_estimate", nil)})
}
