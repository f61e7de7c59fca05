package message

import "time"

// Hours are from when until when a round is, the end to the next quarter of an hour: nobody
// knows better how long a walk takes.
func (w *Words) Hours(from, to time.Time) (start, end string) {
	const quarter = 15 * time.Minute
	if last := to.Truncate(quarter); last.Before(to) {
		to = last.Add(quarter)
	}
	return w.Time(from), w.Time(to)
}

// Joined lists names as people say them: "North, South and East".
func (w *Words) Joined(names []string) string {
	if len(names) == 0 {
		return ""
	}
	out := names[0]
	for i, name := range names[1:] {
		if i == len(names)-2 {
			return w.Say("attend_and", map[string]any{"First": out, "Last": name})
		}
		out += ", " + name
	}
	return out
}
