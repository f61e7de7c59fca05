package intake

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"thawline/alerts/message"
	"thawline/forecast"
	"thawline/forecast/records"
)

// Say says what became of an entry of one record, or why it was refused, in sentences.
func (r *Result) Say(w *message.Words) string {
	if r.Barred {
		return w.Say("intake_barred", nil)
	}
	if r.Undone && len(r.Records) > 0 {
		return undone(w, &r.Records[0].Visit, r.Records[0].Name, len(r.Records), r.Records[0].Outcome == Corrected)
	}
	if said := r.sayAgain(w); said != "" {
		return said
	}
	var says []string
	noted := "intake_written"
	for i := range r.Records {
		rec := &r.Records[i]
		if r.Refused && rec.Outcome != Refused {
			continue
		}
		says = append(says, rec.say(w, noted))
		if rec.Outcome == Written {
			noted = "intake_next" // that it is noted is said once
		}
	}
	if r.Refused {
		says = append(says, w.Say("intake_nothing", nil))
	}
	return strings.Join(says, " ")
}

// sayAgain says at once of several records that all are there already, "" where that is not
// what became of them.
func (r *Result) sayAgain(w *message.Words) string {
	var all []string
	var at string // of those so far, which is said once
	for i := range r.Records {
		rec := &r.Records[i]
		if rec.Outcome != Same || !rec.Visit.Collected() || len(rec.Doubts) > 0 {
			return ""
		}
		volume, unit := w.FineVolume(rec.Visit.VolumeL)
		one := w.Say("intake_same_next", map[string]any{"Group": rec.Name, "Volume": volume, "Unit": unit})
		then := when(w, &rec.Visit)
		if i > 0 && then != at {
			all[i-1] += ", " + at
		}
		at = then
		all = append(all, one)
	}
	if len(all) < 2 {
		return ""
	}
	return w.Say("intake_same_all", map[string]any{"Records": strings.Join(all, "; ") + ", " + at})
}

// Say says what became of one record and what is odd about it, or why it is refused.
func (r *Record) Say(w *message.Words) string { return r.say(w, "intake_written") }

// say is Say, with the key that the words begin with for what was written.
func (r *Record) say(w *message.Words, noted string) string {
	var says []string
	if r.Outcome != Refused {
		says = append(says, r.became(w, noted))
	}
	for i := range r.Doubts {
		if d := &r.Doubts[i]; d.Refusal == (r.Outcome == Refused) {
			says = append(says, sentence(w.Doubt(d)))
		}
	}
	return strings.Join(says, " ")
}

// became says what became of one record.
func (r *Record) became(w *message.Words, noted string) string {
	v := &r.Visit
	volume, unit := w.FineVolume(max(v.VolumeL, 0))
	values := map[string]any{"Group": r.Name, "Volume": volume, "Unit": unit, "Brix": w.Share(v.BrixPct), "When": when(w, v), "N": r.Loads}
	switch r.Outcome {
	case Same:
		if !v.Collected() {
			return w.Say("intake_same_none", values)
		}
		return w.Say("intake_same", values)
	case Load:
		values["Volume"], values["Unit"] = w.FineVolume(r.TotalL)
		key := "intake_load_"
		if r.Loads == 2 || r.Loads == 3 {
			return w.Say(key+strconv.Itoa(r.Loads), values)
		}
		return w.Say(key+"more", values)
	case Corrected:
		before, after := differences(w, &r.Before, v)
		return w.Say("records_corrected", map[string]any{"Record": r.Name + " " + when(w, v), "Before": before, "After": after}) + "."
	case BroughtBack:
		return w.Say("intake_back", map[string]any{"Record": describe(r.Name+" "+when(w, v), w, v)})
	}
	switch {
	case r.Earlier && v.Collected():
		values["Group"] = w.Say("intake_earlier", values)
	case r.Earlier:
		values["Group"] = w.Say("intake_earlier_none", values)
	}
	switch {
	case !v.Collected():
		noted += "_none"
	case !math.IsNaN(v.BrixPct):
		noted += "_brix"
	}
	return sentence(w.Say(noted, values))
}

// Told are what is to be said of an entry of many records, by line: what was corrected,
// what was taken for a load, and what was odd.
func (r *Result) Told(w *message.Words) []string {
	var out []string
	for i := range r.Records {
		if rec := &r.Records[i]; rec.Outcome == Corrected || rec.Outcome == Load {
			out = append(out, w.OnLine(rec.Visit.Line, strings.TrimSuffix(rec.became(w, "intake_written"), ".")))
		}
	}
	return atMost(w, append(out, r.doubted(w, false)...))
}

// MostSaid is how many lines are said of one file: who has more to put right begins with
// these.
const MostSaid = 50

func atMost(w *message.Words, lines []string) []string {
	if more := len(lines) - MostSaid; more > 0 {
		return append(lines[:MostSaid:MostSaid], w.Say("intake_more", map[string]any{"Count": more}))
	}
	return lines
}

// Faults are why the records of an entry are refused, by line.
func (r *Result) Faults(w *message.Words) []string {
	if r.Barred {
		return []string{w.Say("intake_barred", nil)}
	}
	return atMost(w, r.doubted(w, true))
}

func (r *Result) doubted(w *message.Words, refusal bool) []string {
	var out []string
	for i := range r.Records {
		for k := range r.Records[i].Doubts {
			if d := &r.Records[i].Doubts[k]; d.Refusal == refusal {
				out = append(out, w.Doubt(d))
			}
		}
	}
	return out
}

// Counts says how many records became what.
func (r *Result) Counts(w *message.Words) string {
	n := r.Outcomes()
	return w.Counts(n[Written]+n[Load], n[BroughtBack], n[Same], n[Corrected])
}

// Say says what was taken back.
func (u *Undone) Say(w *message.Words, site *forecast.Site) string {
	switch {
	case u.Barred:
		return w.Say("intake_barred", nil)
	case u.None:
		return w.Say("intake_undo_none", nil)
	case len(u.Seen) > 0:
		var says []string
		for i := range u.Seen {
			says = append(says, WhatObserved(w, site, &u.Seen[i].Observation))
		}
		return w.Say("observed_undone", map[string]any{"What": strings.Join(says, "; ")})
	case u.House != nil:
		return w.Say("house_undone", map[string]any{"What": SayHouse(w, &u.House.HouseEntry)})
	case len(u.Taps) > 0:
		var says []string
		for i := range u.Taps {
			t := &u.Taps[i]
			says = append(says, w.Say("records_"+string(t.Kind),
				map[string]any{"Group": nameOf(site, t.Group), "When": dayOf(w, t.On)}))
		}
		return w.Say("taps_taken_back", map[string]any{"Record": strings.Join(says, ", ")})
	}
	var says []string
	if len(u.Records) > 0 {
		first := &u.Records[0]
		says = append(says, undone(w, &first.Visit, nameOf(site, first.Group), len(u.Records), !first.Removed))
	}
	if u.Changed > 0 {
		says = append(says, w.Plural("intake_undo_changed", u.Changed))
	}
	return strings.Join(says, " ")
}

// undone says that n records were taken back, or that one says again what it said before.
func undone(w *message.Words, v *records.Visit, name string, n int, again bool) string {
	values := map[string]any{"Record": describe(name+" "+when(w, v), w, v)}
	if n == 1 && again {
		return w.Say("records_undone", values)
	}
	return w.PluralWith("intake_undone", n, values)
}

// sentence begins with a capital and ends with a stop.
func sentence(text string) string {
	first, size := utf8.DecodeRuneInString(text)
	text = string(unicode.ToUpper(first)) + text[size:]
	if said := message.Settle(text); strings.HasSuffix(said, ".") || strings.HasSuffix(said, "?") {
		return text
	}
	return text + "."
}

// dayOf is a day in words.
func dayOf(w *message.Words, at time.Time) string { return w.ShortWeekday(at) + " " + w.Date(at) }

// when is the moment of a visit in words.
func when(w *message.Words, v *records.Visit) string {
	if v.DateOnly {
		return dayOf(w, v.CollectedAt)
	}
	return dayOf(w, v.CollectedAt) + " " + w.Time(v.CollectedAt)
}

// Describe is a visit with what it says as commands list it: its group by its id, and its
// moment with the year, for those of other years are listed too.
func Describe(w *message.Words, v *records.Visit) string {
	layout := "2006-01-02 15:04"
	if v.DateOnly {
		layout = time.DateOnly
	}
	return describe(v.Group+" "+v.CollectedAt.Format(layout), w, v)
}

// describe is a visit of that group and moment with what it says.
func describe(groupWhen string, w *message.Words, v *records.Visit) string {
	all := figures(w, v)
	says := []string{groupWhen, all[0]}
	if !math.IsNaN(v.BrixPct) {
		says = append(says, all[1])
	}
	if v.Note != "" {
		says = append(says, all[3])
	}
	return strings.Join(says, ", ")
}

// figures are what a visit says: volume, sugar, taps and note.
func figures(words *message.Words, v *records.Visit) [4]string {
	out := [4]string{words.Say("records_nothing", nil), words.Say("records_brix_none", nil), words.Say("records_taps_none", nil),
		words.Say("records_note_none", nil)}
	if v.Collected() {
		n, unit := words.FineVolume(v.VolumeL)
		out[0] = n + " " + unit
	}
	if !math.IsNaN(v.BrixPct) {
		out[1] = words.Share(v.BrixPct) + "\u00a0%"
	}
	if v.Taps > 0 {
		out[2] = words.Plural("rounds_taps", v.Taps)
	}
	if v.Note != "" {
		out[3] = words.Note(v.Note)
	}
	return out
}

// differences are what two visits say where they differ.
func differences(words *message.Words, before, after *records.Visit) (was, is string) {
	b, a := figures(words, before), figures(words, after)
	var from, to []string
	for i := range b {
		if a[i] != b[i] {
			from, to = append(from, b[i]), append(to, a[i])
		}
	}
	if len(from) == 0 { // less than is said
		from, to = slices.Clone(b[:1]), slices.Clone(a[:1])
	}
	return strings.Join(from, ", "), strings.Join(to, ", ")
}
