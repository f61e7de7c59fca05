package message

import "time"

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
