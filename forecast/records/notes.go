package records

import (
	"regexp"
	"strconv"
	"strings"
	"time"
)

// Remarks is what a note says about the figure beside it.
type Remarks struct {
	Ice        bool // some of the sap was ice and stayed, or kept the rest from running
	Full       bool // a container was full or ran over: the volume is at least what is written
	Emptied    bool // poured away, spilt or emptied by others: lost, but not still in the pail
	Spilled    bool // some was lost on the way: the volume is at least what is written
	NotChecked bool
	AsExpected bool // somebody confirmed the expected figure; nobody measured it
	// Nobody knows since when the containers had hung.
	StartUnknown bool
}

// Remarks as they are kept, whatever language they were made in.
const (
	NoteFull       = "full"
	NoteIce        = "ice"
	NoteIceLittle  = "ice: a little"
	NoteIceHalf    = "ice: half"
	NoteIceMost    = "ice: most of it"
	NoteSpilled    = "some spilled"
	NoteNotChecked = "not checked"
	NoteAsExpected = "as expected"
	NoteLoads      = "several loads"
	NoteRight      = "checked and right"
)

var remarkWords = []struct {
	set   func(*Remarks)
	words []string
}{
	{func(r *Remarks) { r.Ice = true }, []string{"ice", "icy", "frozen", "froze", "glace", "glacé", "glacés", "glacée", "glacées",
		"gelé", "gelés", "gelée", "gelées"}},
	{func(r *Remarks) { r.Full = true },
		[]string{"full", "overflow", "overflowed", "overflowing", "ran over", "running over", "plein", "pleins", "pleine", "pleines",
			"débordé", "déborde"}},
	{func(r *Remarks) { r.Emptied = true },
		[]string{"dumped", "dump", "emptied", "spilled", "spilt", "poured out", "thrown out", "jeté", "jetée", "jetées", "vidé",
			"vidée", "vidées", "renversé", "renversée", "renversées"}},
	{func(r *Remarks) { r.Spilled, r.Emptied = true, false }, // of what was carried in, a part
		[]string{NoteSpilled, "spilled some", "spilt some", "some spilt", "spilled a bit", "spilt a bit", "spilled a little", "spilt a little",
			"un peu renversé", "un peu renversée", "renversé un peu", "en partie renversé"}},
	{func(r *Remarks) { r.NotChecked = true },
		[]string{"not checked", "did not check", "didn't check", "did not collect", "not collected", "pas vérifié", "pas vérifiée",
			"pas vérifiées", "non vérifié", "pas ramassé", "pas ramassée"}},
	{func(r *Remarks) { r.AsExpected = true }, []string{NoteAsExpected, "comme prévu"}},
	{func(r *Remarks) { r.StartUnknown = true },
		[]string{"start unknown", "unknown start", "no known start", "start not known", "start of the interval unknown", "début inconnu"}},
}

// Remarks reads the note for the words of the trade, English or French.
func (v Visit) Remarks() Remarks {
	var r Remarks
	if v.Note == "" {
		return r
	}
	note := " " + strings.Join(strings.FieldsFunc(strings.ToLower(v.Note), func(c rune) bool {
		return strings.ContainsRune(" \t,.;:!?()\"", c)
	}), " ") + " "
	for _, w := range remarkWords {
		for _, word := range w.words {
			if strings.Contains(note, " "+word+" ") || strings.Contains(word, " ") && strings.Contains(note, " "+word) {
				w.set(&r)
			}
		}
	}
	return r
}

var statedHour = regexp.MustCompile(`(?i)(?:^|\s)(?:at|à)\s+(\d{1,2})(?::(\d\d))?\s*(am|pm|h)\b`)

// hourFromNote moves a visit of which only the day is known to the hour that
// its note states, as in "collected at 9 AM".
func hourFromNote(at time.Time, note string) time.Time {
	m := statedHour.FindStringSubmatch(note)
	if m == nil {
		return at
	}
	hour, _ := strconv.Atoi(m[1])
	minute, _ := strconv.Atoi(m[2])
	switch unit := strings.ToLower(m[3]); {
	case unit == "h" && hour > 23, unit != "h" && (hour < 1 || hour > 12), minute > 59:
		return at
	case unit == "pm" && hour < 12:
		hour += 12
	case unit == "am" && hour == 12:
		hour = 0
	}
	return time.Date(at.Year(), at.Month(), at.Day(), hour, minute, 0, 0, at.Location())
}
