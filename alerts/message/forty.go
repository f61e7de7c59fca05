package message

import (
	"slices"
	"strings"
)

// FirstForty are the texts by which a language is of use: with them the evening text, the
// alerts that matter most, the care to take and the answers to what people write come in
// it, and what helpers write in it is understood. All else comes in whole sentences of the
// second language.
var FirstForty = []string{
	"verdict_strong", "verdict_sure", "verdict_likely", "verdict_maybe", "verdict_unlikely", "verdict_none",
	"text_window", "text_into_night", "text_volume", "text_volume_upto", "text_gather", "text_when_today", "text_when_tomorrow",
	"text_hangs", "text_weather",
	"clock", "clock_noon", "unit_litre", "unit_gallon",
	"weekday_0", "weekday_1", "weekday_2", "weekday_3", "weekday_4", "weekday_5", "weekday_6",
	"alert_overflow", "alert_hard_freeze", "alert_change_called_off", "alert_get_ready", "alert_end_here", "round_careful",
	"reply_seen", "intake_written", "reply_unclear_word",
	"word_seen", "word_pulled", "word_full", "word_ice", "word_not_checked",
}

// place is where texts are said, by how their keys begin, and how many characters they may
// have once they are filled in, 0 where that is no matter.
type place struct {
	begins, said string
	room         int
}

// Texts of one message share its 160 places; what stands here is what English and French
// get by with.
var places = []place{
	{"verdict_", "begins the evening text", 40},
	{"text_when_", "the hour to gather, within a sentence", 30},
	{"text_gather", "the evening text: what to do", 100},
	{"text_", "the evening text", 80},
	{"clock", "hours, in messages and on pages", 10},
	{"time", "times of day, on pages", 12},
	{"unit_", "after a volume, everywhere", 12},
	{"weekday_short_", "days in tables, and what helpers may write", 6},
	{"weekday_", "days in messages, and what helpers may write", 14},
	{"month_", "months, everywhere", 12},
	{"danger_warning", "names a danger in the evening text", 24},
	{"danger_freezing_rain", "names a danger in the evening text", 24},
	{"danger_wind", "names a danger in the evening text", 24},
	{"danger_cold", "names a danger in the evening text", 24},
	{"alert_question_", "a question by message", 100},
	{"alert_", "an alert", 140},
	{"question_how", "after a question", 30},
	{"round_careful", "after an alert to go out, where there is room", 60},
	{"caution_", "care to take, on pages", 0},
	{"escalation", "to keepers whose helper has not answered, before the message", 0},
	{"reply_", "answers a text message", 160},
	{"intake_", "answers a record", 120},
	{"observed_", "answers what was seen in the bush", 160},
	{"attend_", "answers who goes", 120},
	{"taps_", "answers taps put in or pulled", 120},
	{"house_", "answers the sugarhouse's book", 120},
	{"word_", "what helpers may write, parted by commas", 0},
	{"spoken_", "a call, or the kitchen radio", 0},
	{"bulletin_", "the bulletin for radio and newsletter", 0},
	{"report_", "the outlook, on pages and in a terminal", 0},
	{"chart_", "in a picture", 0},
	{"init_", "the questions of thawline init", 0},
	{"check_", "thawline check", 0},
	{"kind_", "names a kind of message", 30},
	{"nav_", "the menu of the pages", 24},
}

// placeOf is where a text is said.
func placeOf(key string) place {
	for _, p := range places {
		if strings.HasPrefix(key, p.begins) {
			return p
		}
	}
	return place{said: "on pages"}
}

// examples are what is filled in by way of example.
var examples = map[string]string{
	"Unit": "gallons", "Day": "Thursday", "N": "3", "Group": "Ridge pails", "Groups": "Ridge pails", "Name": "Hill", "Time": "2 pm",
	"Volume": "40", "Date": "26 Mar", "From": "9 am", "To": "6 pm",
	"When": "today 2 pm", "High": "55", "Low": "24 F", "Mid": "40", "Amount": "40 gal", "By": "2 pm", "Chance": "80 %",
	"What": "Freezing rain", "Example": "ridge", "End": "6 pm", "Brix": "2.1", "Who": " (Robin)",
	"Names": "Robin", "H": "2", "M": "30", "Start": "9 am", "Ends": "Friday 6 am", "Event": "Winter storm warning", "Issuer": "NWS",
	"Person": "Robin", "Text": "Ridge pails will run over.", "Score": "4",
	"InTen": "8", "Days": "9", "Visits": "12 visits", "Syrup": "5", "SyrupUnit": "gallons", "First": "Monday", "Second": "Tuesday",
	"Month": "Mar", "Verdict": "No run tomorrow", "Word": "nroth", "Most": "365",
	"Temperature": "24 F", "Before": "26 F", "Known": "30 F", "On": "Monday", "Record": "ridge, 40 gallons, Monday", "Sap": "60",
	"Wood":  "2",
	"Whole": "12", "Decimal": "1.2", "Link": "",
}

// Filled is a text with examples filled in.
func Filled(text string) string {
	names, err := placeholders(text)
	if err != nil {
		return text
	}
	for _, name := range names {
		example, has := examples[name]
		if !has {
			example = name
		}
		text = strings.ReplaceAll(text, "{{."+name+"}}", example)
	}
	return text
}

// TooLong lists the keys of texts that have more characters, filled in, than there is room
// for where they are said, the first forty first.
func (t Texts) TooLong() []string {
	var out []string
	for _, key := range inSheetOrder(t) {
		room := placeOf(key).room
		for _, text := range t[key].forms() {
			if room > 0 && len([]rune(Filled(text))) > room {
				out = append(out, key)
				break
			}
		}
	}
	return out
}

// inSheetOrder are the keys of texts, the first forty first, the others by their names.
func inSheetOrder(t Texts) []string {
	var out, rest []string
	for _, key := range FirstForty {
		if _, has := t[key]; has {
			out = append(out, key)
		}
	}
	for key := range t {
		if !slices.Contains(FirstForty, key) {
			rest = append(rest, key)
		}
	}
	slices.Sort(rest)
	return append(out, rest...)
}
