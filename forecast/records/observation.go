package records

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// ObservationKind is what somebody saw in the bush without carrying sap away.
type ObservationKind string

// The kinds of observation.
const (
	Low         ObservationKind = "low"  // the bush's own thermometer, of a night
	High        ObservationKind = "high" // and of a day
	Dripping    ObservationKind = "dripping"
	NotDripping ObservationKind = "not_dripping"
	Sweet       ObservationKind = "sweet" // how sap tastes
	Off         ObservationKind = "off"   // buddy, or otherwise not worth boiling

	// How full pails or a tank are.
	HardlyAny     ObservationKind = "hardly_any"
	QuarterFull   ObservationKind = "quarter_full"
	HalfFull      ObservationKind = "half_full"
	ThreeQuarters ObservationKind = "three_quarters_full"
	BrimFull      ObservationKind = "brim_full"

	Buds ObservationKind = "buds" // leaf buds of the maples are open
	Sign ObservationKind = "sign" // that people on the land go by, such as frogs
)

// ObservationKinds are all of them.
var ObservationKinds = []ObservationKind{Low, High, Dripping, NotDripping, Sweet, Off, Buds, Sign, HardlyAny, QuarterFull, HalfFull,
	ThreeQuarters, BrimFull}

// Levels are the kinds that say how full containers are, from hardly any to full.
func Levels() []ObservationKind {
	return ObservationKinds[slices.Index(ObservationKinds, HardlyAny):]
}

// Taste reports whether a kind is how sap tastes.
func (k ObservationKind) Taste() bool { return k == Sweet || k == Off }

// Level is the share of what containers hold that a kind speaks of; false if it speaks of
// something else.
func (k ObservationKind) Level() (share float64, is bool) {
	n := slices.Index(ObservationKinds, k) - slices.Index(ObservationKinds, HardlyAny)
	return float64(n) / 4, n >= 0
}

// about is what a kind speaks of: two words of the same taps within minutes are one only
// where they speak of the same.
func (k ObservationKind) about() string {
	_, level := k.Level()
	switch {
	case level:
		return "level"
	case k.Taste():
		return "taste"
	}
	return "drips"
}

// Drip reports whether a kind is whether taps drip.
func (k ObservationKind) Drip() bool { return k == Dripping || k == NotDripping }

// Dated reports whether a kind is of a day of spring, whatever the hour.
func (k ObservationKind) Dated() bool { return k == Buds || k == Sign }

// Read reports whether a kind is read off a thermometer.
func (k ObservationKind) Read() bool { return k == Low || k == High }

// Observation is one of them.
type Observation struct {
	ID, Site string
	Group    string // id, where it is of one group's taps; "" for the bush
	Kind     ObservationKind
	Sign     string    // its name, as people call it; "" for other kinds
	At       time.Time // when it was seen; of a low or high when it was read
	// Day is the local date, 2026-03-21. A low is that of the night which ended that
	// morning; a sign's and that of buds may be told long after.
	Day          string
	TemperatureC float64 // NaN where none was read
	By           string
}

// A thermometer that keeps its lowest and highest is read in the morning or in the
// evening (common practice): before nightHour the night is not over, and before
// highHour the day's high has still to come.
const (
	nightHour = 4
	highHour  = 12
)

// MeansDay is the local date that a low or high means which is read at a moment.
func (k ObservationKind) MeansDay(at time.Time) string {
	if k == Low && at.Hour() < nightHour || k == High && at.Hour() < highHour {
		at = at.AddDate(0, 0, -1)
	}
	return at.Format(time.DateOnly)
}

// Window is when the low or high of a day comes: a low from six in the evening before
// until ten, a high from eight in the morning to eight in the evening.
func (k ObservationKind) Window(day string, zone *time.Location) (from, to time.Time, err error) {
	d, err := time.ParseInLocation(time.DateOnly, day, zone)
	if err != nil {
		return from, to, fmt.Errorf("%s: not a day like 2026-03-21", day)
	}
	hour := func(h int) time.Time { return time.Date(d.Year(), d.Month(), d.Day(), h, 0, 0, 0, zone) }
	if k == Low {
		return hour(18).AddDate(0, 0, -1), hour(10), nil
	}
	return hour(8), hour(20), nil
}

// What a thermometer and the forecast's grid can't differ by. Hollows are up to 8 K
// colder than the ground around them on clear nights (common practice); the mean of
// a grid's cell errs by 2 K.
const (
	farK  = 12.0 // beyond it a thermometer stands in the sun, or the day is another
	unitK = 8.0  // beyond it another unit is asked about, if that comes closer than nearK
	nearK = 5.0
)

// ObservationFault is why an observation can't be kept.
type ObservationFault struct {
	Kind   string // "moment", "figure", "unit", "far", "group", "sign", "buds" or "kind"
	Of     Observation
	KnownC float64 // of "unit" and "far": what the weather was there
	OtherC float64 // of "unit": what the figure is in the other unit
	InF    bool    // of "unit": the other unit is °F
}

func (f *ObservationFault) Error() string {
	switch f.Kind {
	case "moment":
		return "an observation of no day, or of one to come: say when it was"
	case "figure":
		return "that is no temperature of a bush: check the number and its unit"
	case "unit":
		unit := "C"
		if f.InF {
			unit = "F"
		}
		return fmt.Sprintf("%.1f °C where the weather had %.1f: was it in °%s, which makes %.1f °C?", f.Of.TemperatureC, f.KnownC, unit,
			f.OtherC)
	case "far":
		return fmt.Sprintf("%.1f °C where the weather had %.1f: check the number, the day, and that no sun falls on the thermometer",
			f.Of.TemperatureC, f.KnownC)
	case "group":
		return f.Of.Group + ": there is no such group"
	case "sign":
		return fmt.Sprintf("a sign without a name, or with one beyond %d letters: name it", longestSign)
	case "buds":
		return "leaf buds of maples open between March and June: check the day"
	}
	return fmt.Sprintf("%q: no kind of observation; write one of %v", f.Of.Kind, ObservationKinds)
}

// Doubt reports whether the fault is one of plausibility: whoever is sure may have it
// kept all the same.
func (f *ObservationFault) Doubt() bool { return f.Kind == "unit" || f.Kind == "far" }

// Settle fills in what an observation leaves out: it is of now, and of the day that it
// means.
func (o *Observation) Settle(now time.Time, zone *time.Location) {
	if o.At.IsZero() {
		o.At = now
	}
	o.At = o.At.In(zone).Truncate(time.Second)
	if o.Sign = strings.Join(strings.Fields(o.Sign), " "); o.Kind != Sign {
		o.Sign = ""
	}
	if day, err := time.ParseInLocation(time.DateOnly, o.Day, zone); err == nil && o.Kind.Dated() && o.Day != o.At.Format(time.DateOnly) {
		o.At = day.Add(12 * time.Hour)
	}
	if o.Day == "" || !o.Kind.Read() {
		if o.Day = o.At.Format(time.DateOnly); o.Kind.Read() {
			o.Day = o.Kind.MeansDay(o.At)
		}
	}
	if o.TemperatureC = math.Round(o.TemperatureC*100) / 100; !o.Kind.Read() {
		o.TemperatureC = math.NaN()
	}
}

// Check says what is wrong with a settled observation: nil, or an *ObservationFault.
// knownC is the low or high that the weather had there, NaN where nobody knows.
func (o *Observation) Check(now time.Time, knownC float64) error {
	fault := &ObservationFault{Of: *o, KnownC: knownC}
	if !slices.Contains(ObservationKinds, o.Kind) {
		fault.Kind = "kind"
		return fault
	}
	switch month := o.At.Month(); {
	case o.Kind == Sign && (o.Sign == "" || utf8.RuneCountInString(o.Sign) > longestSign):
		fault.Kind = "sign"
		return fault
	case o.Kind == Buds && (month < time.March || month > time.June):
		fault.Kind = "buds"
		return fault
	}
	if from, _, err := o.Kind.Window(o.Day, o.At.Location()); err != nil || from.After(now) || from.Year() < firstYear ||
		o.At.Year() < firstYear || o.At.After(now.Add(time.Hour)) {
		fault.Kind = "moment"
		return fault
	}
	if !o.Kind.Read() {
		return nil
	}
	if fault.ofReading(); fault.Kind != "" {
		return fault
	}
	return nil
}

// ofReading looks at a temperature that was read: whether it can be, and how far it is from
// the one known, which may be that of the other unit.
func (f *ObservationFault) ofReading() {
	const coldest, warmest = -60, 50
	read := f.Of.TemperatureC
	away := math.Abs(read - f.KnownC)
	asF, asC := (read-32)/1.8, read*1.8+32
	switch {
	case !(read >= coldest && read <= warmest):
		f.Kind = "figure"
	case away > unitK && math.Abs(asF-f.KnownC) < nearK:
		f.Kind, f.OtherC, f.InF = "unit", asF, true
	case away > unitK && math.Abs(asC-f.KnownC) < nearK:
		f.Kind, f.OtherC = "unit", asC
	case away > farK:
		f.Kind = "far"
	}
}

// longestSign is how many letters a sign's name has at most.
const longestSign = 40

// SignKey is the same for names that mean one sign: neither case nor accents count.
func SignKey(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Mn, r) {
			return -1
		}
		return unicode.ToLower(r)
	}, norm.NFD.String(name))
}

// observedAgain is how close two words about the same taps are one (as for visits).
const observedAgain = 10 * time.Minute

// Says reports whether two observations speak of the same: the same low or high of a
// day, or the same taps within ten minutes. same is true where they say the same of it.
func (o *Observation) Says(other *Observation) (ofIt, same bool) {
	if o.Kind.Read() || other.Kind.Read() {
		const asFine = 0.051 // K, as both units are written
		ofIt = o.Kind == other.Kind && o.Day == other.Day
		return ofIt, ofIt && math.Abs(o.TemperatureC-other.TemperatureC) < asFine
	}
	if o.Kind.Dated() || other.Kind.Dated() {
		same = o.Kind == other.Kind && o.Day == other.Day && SignKey(o.Sign) == SignKey(other.Sign)
		return same, same
	}
	ofIt = o.Kind.about() == other.Kind.about() && o.Group == other.Group && o.At.Sub(other.At).Abs() < observedAgain
	return ofIt, ofIt && o.Kind == other.Kind
}

// SortObservations puts observations in the order of time, equal moments in that of
// their ids.
func SortObservations(list []Observation) {
	slices.SortStableFunc(list, func(a, b Observation) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.ID, b.ID)) })
}
