package message

import (
	"math"
	"strconv"
	"strings"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/units"
)

// Doubt says what is odd about a visit, with its line where it has one.
func (w *Words) Doubt(d *records.Doubt) string { return w.OnLine(d.Visit.Line, w.doubt(d)) }

// OnLine says something about a line of a file; 0 for none.
func (w *Words) OnLine(line int, what string) string {
	if line == 0 {
		return what
	}
	return w.Say("doubt_line", map[string]any{"Line": line, "What": what})
}

func (w *Words) doubt(d *records.Doubt) string {
	volume := func(litres float64) string { n, unit := w.Volume(litres); return n + " " + unit }
	key := "doubt_" + string(d.Kind)
	switch {
	case d.Near != "":
		key += "_near"
	case d.Kind == records.SameTwice && d.Other == 0:
		key += "_here"
	}
	values := map[string]any{"Date": d.Visit.CollectedAt.Format(time.DateOnly), "Group": d.Visit.Group, "Site": d.Visit.Site,
		"Near": d.Near, "Groups": strings.Join(d.Groups, ", "), "Other": d.Other,
		"Volume": volume(d.Visit.VolumeL), "Holds": volume(d.HoldsL), "Taps": w.Plural("rounds_taps", d.Taps),
		"Brix": w.Share(d.Visit.BrixPct)}
	if d.Taps > 0 {
		values["PerTap"] = volume(d.Visit.VolumeL / float64(d.Taps))
	}
	return w.Say(key, values)
}

// Counts says what became of records that came in.
func (w *Words) Counts(added, back, same, corrected int) string {
	values := map[string]any{"Added": added, "Back": back, "Same": same, "Corrected": corrected}
	if back > 0 {
		return w.Say("records_counts_back", values)
	}
	return w.Say("records_counts", values)
}

// Share is a number of per cent, without the sign, as somebody measured it.
func (w *Words) Share(percent float64) string {
	return w.Number(strconv.FormatFloat(math.Round(percent*100)/100, 'f', -1, 64))
}

// FineVolume is litres to a tenth of the reader's unit, with the unit's name in full.
func (w *Words) FineVolume(litres float64) (number, unit string) {
	v, unit := units.VolumeIn(litres, w.reader.Units)
	number = strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64)
	return w.Number(number), w.unit(unit, number)
}

// noteKeys are the words of the ticks on the page for the round; they are kept in
// English, whoever ticks.
var noteKeys = []struct{ kept, key string }{{records.NoteFull, "note_full"}, {records.NoteIce, "note_ice"},
	{records.NoteNotChecked, "note_not_checked"}, {records.NoteSpilled, "note_spilled"},
	{records.NoteIceLittle, "note_ice_little"}, {records.NoteIceHalf, "note_ice_half"}, {records.NoteIceMost, "note_ice_most"},
	{records.NoteAsExpected, "note_as_expected"}, {records.NoteLoads, "note_loads"}, {records.NoteRight, "note_right"}}

// Note is a note with what was ticked in the reader's language; the rest as it was
// written.
func (w *Words) Note(note string) string {
	return inNote(note, func(part string) string {
		for _, n := range noteKeys {
			if part == n.kept {
				return w.Say(n.key, nil)
			}
		}
		return part
	})
}

// KeptNote is a note as it is kept: Note the other way round.
func (w *Words) KeptNote(note string) string {
	return inNote(note, func(part string) string {
		for _, n := range noteKeys {
			if part == settled(w.Say(n.key, nil)) {
				return n.kept
			}
		}
		return part
	})
}

func inNote(note string, say func(string) string) string {
	parts := strings.Split(note, ", ")
	for i := range parts {
		parts[i] = say(parts[i])
	}
	return strings.Join(parts, ", ")
}
