// Package inbound understands what people write back: what they collected, that they
// have seen a message, what they ask for.
//
// What a text may say is a row of one table; the words for it stand in the catalogues
// of languages (alerts/message/words/inbound.*.toml, and a community's own file).
package inbound

import (
	"slices"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/units"
)

// Kind is what a text, or a word of it, means.
type Kind string

// What a text may mean.
const (
	Collected Kind = "collected"
	Seen      Kind = "seen"
	Yes       Kind = "yes" // to a question; where none is open it is Seen
	No        Kind = "no"
	Stop      Kind = "stop"  // no more messages
	Start     Kind = "start" // messages again
	Pause     Kind = "pause" // no messages for some days, or until a weekday
	Undo      Kind = "undo"  // takes back what the person wrote last
	Tomorrow  Kind = "tomorrow"
	Next      Kind = "next"   // the next round
	Where     Kind = "where"  // where sap hangs, or how much at a group
	Stock     Kind = "stock"  // what lies in the sugarhouse
	Total     Kind = "total"  // what was gathered this season
	Ends      Kind = "ends"   // when the season does
	Go        Kind = "go"     // the person makes their next round, or one at a time that is named
	Cannot    Kind = "cannot" // the person can't: their next round, or a day
	Pulled    Kind = "pulled"
	Tapped    Kind = "tapped" // for the first time, or again
	Boiled    Kind = "boiled"
	SapLeft   Kind = "sap_left" // in the sugarhouse, as the three after it
	SyrupLeft Kind = "syrup_left"
	WoodLeft  Kind = "wood_left"
	TippedOut Kind = "tipped_out"
	Low       Kind = "low" // of the bush's own thermometer, as the one after it
	High      Kind = "high"
	Drips     Kind = "dripping"
	NoDrip    Kind = "not_dripping"
	Sweet     Kind = "sweet" // how sap tastes, as the one after it
	Off       Kind = "off"
	Buds      Kind = "buds" // are open
	Sign      Kind = "sign" // of spring, with its name

	// How full pails are.
	HardlyAny     Kind = "hardly_any"
	QuarterFull   Kind = "quarter_full"
	HalfFull      Kind = "half_full"
	ThreeQuarters Kind = "three_quarters_full"
	BrimFull      Kind = "brim_full"
	Help          Kind = "help"
	Question      Kind = "question" // not clear: asked back
)

// What a word in a text may mean.
const (
	Remark  Kind = "remark" // of a record
	Unit    Kind = "unit"
	Joint   Kind = "joint" // means nothing by itself
	Hangs   Kind = "hangs" // what hangs at the trees, which says no more; groups are often called so
	All     Kind = "all"   // groups
	Until   Kind = "until"
	Weekday Kind = "weekday"
	Today   Kind = "today"
	Made    Kind = "made"   // sugar, in what a boil gave
	InPan   Kind = "in_pan" // of a boil, before the pan's name
	Left    Kind = "left"   // of what lies in the sugarhouse

	Yesterday Kind = "yesterday"
	LastNight Kind = "last_night"
	Noon      Kind = "noon"
	Minus     Kind = "minus"  // before a temperature
	Degree    Kind = "degree" // after one, in the writer's unit
	And       Kind = "and"    // between the records of two groups
	About     Kind = "about"  // before a volume that was not measured to the drop
)

// Measure is what a number counts: litres, per cent of sugar, days, °C.
type Measure string

// The measures.
const (
	Clock       Measure = "clock" // a time of day, in hours after midnight
	Volume      Measure = "volume"
	Sugar       Measure = "sugar"
	Days        Measure = "days"
	Temperature Measure = "temperature"
	Stacked     Measure = "stacked" // wood, in cords
	Mass        Measure = "mass"
	Hours       Measure = "hours"
	InHouse     Measure = "in_house" // what lines of the sugarhouse count
	Observed    Measure = "observed" // what is seen in the bush
)

// Right is what somebody needs for a text to be followed.
type Right string

// The rights.
const (
	Anybody      Right = "anybody"
	WriteRecords Right = "write records"
)

// Row is one thing that texts may say.
type Row struct {
	Kind    Kind
	Words   string  // the key of its words, which are parted by commas; "" for none
	Measure Measure // of the number that goes with it, "" where none does; of a unit what it measures
	Dated   bool    // a day may go with it, and the number may be missing
	Group   bool    // whether a group may go with it
	Alone   bool    // its words are whole texts, spelled as they stand: "annulé" is no "annule"
	Right   Right   // "" where it is only a part of a text
	Answer  string  // the key of what is answered; a handler may have another
	Note    string  // of a Remark: what is kept beside the record

	Each    float64        // of a Unit: how many litres, days, … ; 0 for the writer's own
	Zero    float64        // of a Unit: where it has its zero
	Usual   []units.System // of a Unit: for whom a number without a unit is in it
	Weekday time.Weekday   // of a Weekday
}

// Empty is the Note of the remark that nothing was there; it is kept as a volume of 0.
const Empty = "empty"

// NotChecked is the Note of the remark that nobody looked.
const NotChecked = "not checked"

// Table is all that texts may say. A record is the row without words: it is known by a
// group, a volume and remarks.
var Table = slices.Concat([]Row{
	{Kind: Collected, Measure: Volume, Group: true, Right: WriteRecords, Answer: "intake_written"},
	{Kind: Seen, Words: "word_seen", Right: Anybody, Answer: "reply_seen"},
	{Kind: Yes, Words: "word_yes", Right: Anybody, Answer: "reply_seen"},
	{Kind: No, Words: "word_no", Right: Anybody, Answer: "reply_nothing_asked"},
	{Kind: Stop, Words: "word_stop", Right: Anybody, Answer: "reply_stop"},
	{Kind: Start, Words: "word_start", Right: Anybody, Answer: "reply_start"},
	{Kind: Pause, Words: "word_pause", Measure: Days, Right: Anybody, Answer: "reply_pause"},
	{Kind: Undo, Words: "word_undo", Right: WriteRecords, Answer: "intake_undo_none"},
	{Kind: Tomorrow, Words: "word_tomorrow", Right: Anybody, Answer: "reply_tomorrow"},
	{Kind: Next, Words: "word_next", Right: Anybody, Answer: "reply_next"},
	{Kind: Where, Words: "word_where", Group: true, Right: Anybody, Answer: "reply_where"},
	{Kind: Stock, Words: "word_stock", Right: Anybody, Answer: "reply_stock"},
	{Kind: Total, Words: "word_total", Right: Anybody, Answer: "records_total"},
	{Kind: Total, Words: "word_total_alone", Right: Anybody, Answer: "records_total", Alone: true},
	{Kind: Ends, Words: "word_ends", Right: Anybody, Answer: "reply_ends"},
	{Kind: Go, Words: "word_go", Measure: Clock, Dated: true, Group: true, Right: WriteRecords, Answer: "attend_noted_going"},
	{Kind: Cannot, Words: "word_cannot", Measure: Clock, Dated: true, Right: WriteRecords, Answer: "attend_noted_away"},
	{Kind: Cannot, Words: "word_cannot_alone", Measure: Clock, Dated: true, Right: WriteRecords, Answer: "attend_noted_away", Alone: true},
	{Kind: Pulled, Words: "word_pulled", Group: true, Right: WriteRecords, Answer: "taps_noted_pulled"},
	{Kind: Tapped, Words: "word_tapped", Group: true, Right: WriteRecords, Answer: "taps_noted_tapped"},
	{Kind: Boiled, Words: "word_boiled", Measure: InHouse, Right: WriteRecords, Answer: "house_boiled"},
	{Kind: SapLeft, Words: "word_sap_left", Measure: InHouse, Right: WriteRecords, Answer: "house_sap_left"},
	{Kind: SyrupLeft, Words: "word_syrup_left", Measure: InHouse, Right: WriteRecords, Answer: "house_syrup_left"},
	{Kind: WoodLeft, Words: "word_wood_left", Measure: InHouse, Right: WriteRecords, Answer: "house_wood_left"},
	{Kind: TippedOut, Words: "word_tipped_out", Measure: InHouse, Right: WriteRecords, Answer: "house_tipped_out"},
	{Kind: TippedOut, Words: spilledLitres, Measure: InHouse, Right: WriteRecords, Answer: "house_tipped_out"},
	{Kind: Low, Words: "word_low", Measure: Observed, Right: WriteRecords, Answer: "observed_low"},
	{Kind: High, Words: "word_high", Measure: Observed, Right: WriteRecords, Answer: "observed_high"},
	{Kind: Drips, Words: "word_dripping", Measure: Observed, Group: true, Right: WriteRecords, Answer: "observed_dripping"},
	{Kind: NoDrip, Words: "word_not_dripping", Measure: Observed, Group: true, Right: WriteRecords, Answer: "observed_not_dripping"},
	{Kind: Sweet, Words: "word_sweet", Measure: Observed, Group: true, Right: WriteRecords, Answer: "observed_sweet"},
	{Kind: Off, Words: "word_off", Measure: Observed, Group: true, Right: WriteRecords, Answer: "observed_off"},
	{Kind: HardlyAny, Words: "word_hardly_any", Measure: Observed, Group: true, Right: WriteRecords, Answer: "observed_hardly_any"},
	{Kind: QuarterFull, Words: "word_quarter_full", Measure: Observed, Group: true, Right: WriteRecords, Answer: "observed_quarter_full"},
	{Kind: HalfFull, Words: "word_half_full", Measure: Observed, Group: true, Right: WriteRecords, Answer: "observed_half_full"},
	{Kind: ThreeQuarters, Words: "word_three_quarters_full", Measure: Observed, Group: true, Right: WriteRecords,
		Answer: "observed_three_quarters_full"},
	{Kind: BrimFull, Words: "word_brim_full", Measure: Observed, Group: true, Right: WriteRecords, Answer: "observed_brim_full"},
	{Kind: Buds, Words: "word_buds", Measure: Observed, Right: WriteRecords, Answer: "observed_buds"},
	{Kind: Sign, Words: "word_sign", Measure: Observed, Right: WriteRecords, Answer: "observed_sign"},
	{Kind: Help, Words: "word_help", Right: Anybody, Answer: "reply_help"},

	{Kind: Remark, Words: "word_full", Note: "full"},
	{Kind: Remark, Words: "word_ice", Note: "ice"},
	{Kind: Remark, Words: "word_not_checked", Note: NotChecked},
	{Kind: Remark, Words: "word_spilled", Note: records.NoteSpilled},
	{Kind: Remark, Words: "word_empty", Note: Empty},

	{Kind: Unit, Words: "word_litre", Measure: Volume, Each: 1, Usual: []units.System{units.Metric}},
	{Kind: Unit, Words: "word_us_gallon", Measure: Volume, Each: units.LitresPerUSGallon, Usual: []units.System{units.US}},
	{Kind: Unit, Words: "word_imperial_gallon", Measure: Volume, Each: units.LitresPerImperialGallon,
		Usual: []units.System{units.Imperial}},
	{Kind: Unit, Words: "word_gallon", Measure: Volume},
	{Kind: Unit, Words: "word_percent", Measure: Sugar, Each: 1, Usual: everybody},
	{Kind: Unit, Words: "word_day", Measure: Days, Each: 1, Usual: everybody},
	{Kind: Unit, Words: "word_week", Measure: Days, Each: 7},
	{Kind: Unit, Words: "word_am", Measure: Clock, Each: 1},
	{Kind: Unit, Words: "word_pm", Measure: Clock, Each: 1, Zero: -noon},
	{Kind: Unit, Words: "word_oclock", Measure: Clock, Each: 1, Usual: everybody},
	{Kind: Unit, Words: "word_celsius", Measure: Temperature, Each: 1, Usual: []units.System{units.Metric, units.Imperial}},
	{Kind: Unit, Words: "word_fahrenheit", Measure: Temperature, Each: 1 / 1.8, Zero: 32, Usual: []units.System{units.US}},

	{Kind: Unit, Words: "word_cord", Measure: Stacked, Each: 1, Usual: everybody},
	{Kind: Unit, Words: "word_stere", Measure: Stacked, Each: 1 / units.SteresPerCord},
	{Kind: Unit, Words: "word_pound", Measure: Mass, Each: units.KilogramsPerPound, Usual: []units.System{units.US, units.Imperial}},
	{Kind: Unit, Words: "word_kilogram", Measure: Mass, Each: 1, Usual: []units.System{units.Metric}},
	{Kind: Unit, Words: "word_hour", Measure: Hours, Each: 1, Usual: everybody},
	{Kind: Made, Words: "word_sugar_made"},
	{Kind: InPan, Words: "word_in_pan"},
	{Kind: Left, Words: "word_left"},

	{Kind: Joint, Words: "word_joint"},
	{Kind: Hangs, Words: "word_hangs"},
	{Kind: And, Words: "word_and"},
	{Kind: About, Words: "word_about"},
	{Kind: All, Words: "word_all"},
	{Kind: Until, Words: "word_until"},
	{Kind: Today, Words: "word_today"},
	{Kind: Yesterday, Words: "word_yesterday"},
	{Kind: LastNight, Words: "word_last_night"},
	{Kind: Noon, Words: "word_noon"},
	{Kind: Minus, Words: "word_minus"},
	{Kind: Degree, Words: "word_degree"},
}, weekdays("weekday_"), weekdays("weekday_short_"))

// spilledLitres are words of sap that was poured away by mischance. How much follows them:
// "spilled 40 L"; "40 L spilled" may be of what was gathered.
const spilledLitres = "word_spilled_litres"

var everybody = []units.System{units.US, units.Imperial, units.Metric}

// weekdays are the rows of the days of the week, whose names the catalogue has
// anyway.
func weekdays(begins string) []Row {
	var rows []Row
	for day := time.Sunday; day <= time.Saturday; day++ {
		rows = append(rows, Row{Kind: Weekday, Words: begins + string(rune('0'+day)), Weekday: day})
	}
	return rows
}
