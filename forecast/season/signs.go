package season

import (
	"cmp"
	"math"
	"slices"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// SignYear is what one spring tells of a sign that people on the land go by. Days are days
// of the year, 0 where they are not known.
type SignYear struct {
	Sign    string  `json:"sign"`
	Year    int     `json:"year"`
	SeenDOY float64 `json:"seen"`
	RunDOY  float64 `json:"run"`  // of the first sap
	EndDOY  float64 `json:"end"`  // of the last good sap; 0 also where that was cut short
	WarmDOY float64 `json:"warm"` // on which a usual place had had enough warmth
}

// SignLead is what the springs so far tell of a sign.
type SignLead struct {
	Sign  string // as it was written last
	Years int    // in which it was seen
	// By how many days it comes before the first run and before the end, and how far a
	// spring strays from that; NaN where no spring tells.
	BeforeRunDays, BeforeRunSDDays float64
	BeforeEndDays, BeforeEndSDDays float64

	trust, slope float64 // what it says of the end beyond warmth
	usualDays    float64 // by which it comes after WarmDOY
}

const (
	fewestSignYears = 4
	// Of ten signs that people name nine are taken to tell nothing of the end that warmth
	// does not tell (a guess on the side of caution): ten springs of a true sign outweigh
	// that, chance seldom does (TestSignsEarnTheirSay).
	signPrior = 0.1
	// A lead strays by so much until springs tell, which counts for two of them.
	leadSDDays, leadWeight = 8.0, 2.0
)

// LearnSigns works out the lead of each sign, by its name.
func LearnSigns(seen []SignYear) []SignLead {
	by := map[string][]SignYear{}
	var keys []string
	for _, y := range seen {
		key := records.SignKey(y.Sign)
		if by[key] == nil {
			keys = append(keys, key)
		}
		by[key] = append(by[key], y)
	}
	slices.Sort(keys)
	var out []SignLead
	for _, key := range keys {
		years := by[key]
		slices.SortFunc(years, func(a, b SignYear) int { return cmp.Compare(a.Year, b.Year) })
		l := SignLead{Sign: years[len(years)-1].Sign, Years: len(years)}
		l.BeforeRunDays, l.BeforeRunSDDays = leadOf(years, func(y *SignYear) float64 { return y.RunDOY })
		l.BeforeEndDays, l.BeforeEndSDDays = leadOf(years, func(y *SignYear) float64 { return y.EndDOY })
		l.earn(years)
		out = append(out, l)
	}
	return out
}

// leadOf is by how many days a sign came before something, and how far that strays.
func leadOf(years []SignYear, of func(*SignYear) float64) (days, sd float64) {
	var leads []float64
	for i := range years {
		if day := of(&years[i]); day > 0 {
			leads = append(leads, day-years[i].SeenDOY)
			days += day - years[i].SeenDOY
		}
	}
	n := float64(len(leads))
	if n == 0 {
		return math.NaN(), math.NaN()
	}
	days /= n
	squares := leadWeight * leadSDDays * leadSDDays
	for _, lead := range leads {
		squares += (lead - days) * (lead - days)
	}
	return days, math.Sqrt(squares / (n + leadWeight))
}

// earn weighs whether ends that came later than warmth says went with a late sign: by the
// likelihood of a line through both against that of none (the Schwarz criterion), and by
// how few signs tell anything.
func (l *SignLead) earn(years []SignYear) {
	var late, end []float64
	for i := range years {
		if y := &years[i]; y.EndDOY > 0 && y.WarmDOY > 0 && y.SeenDOY < y.EndDOY {
			late, end = append(late, y.SeenDOY-y.WarmDOY), append(end, y.EndDOY-y.WarmDOY)
		}
	}
	n := float64(len(late))
	if n < fewestSignYears {
		return
	}
	meanLate, meanEnd := 0.0, 0.0
	for i := range late {
		meanLate, meanEnd = meanLate+late[i]/n, meanEnd+end[i]/n
	}
	xx, yy, xy := 0.0, 0.0, 0.0
	for i := range late {
		x, y := late[i]-meanLate, end[i]-meanEnd
		xx, yy, xy = xx+x*x, yy+y*y, xy+x*y
	}
	if xy <= 0 || yy == 0 { // a late sign before an early end tells nothing
		return
	}
	const least = 1e-6
	explained := min(xy*xy/(xx*yy), 1-least)
	odds := signPrior / (1 - signPrior) * math.Exp(-(n-1)/2*math.Log(1-explained)-math.Log(n)/2)
	l.trust, l.slope, l.usualDays = odds/(1+odds), min(xy/xx, 1), meanLate
}

// Moves is by how many days a sign that was seen on a day of the year moves the end, where
// a usual place has had enough warmth on another.
func (l *SignLead) Moves(seenDOY, warmDOY float64) float64 {
	return l.trust * l.slope * (seenDOY - warmDOY - l.usualDays)
}

// WarmDay is the day of a year on which a usual place has had the warmth at which seasons
// end; ok is false where the days until then are not known.
func WarmDay(d *weather.Daily, year int) (doy float64, ok bool) {
	sum := 0.0
	for i := d.Index(time.Date(year, 1, warmthFromDay, 0, 0, 0, 0, time.UTC)); i < d.Days(); i++ {
		if sum += warmthOf(d.At(i)); math.IsNaN(sum) {
			return 0, false
		}
		if sum >= usualWarmth {
			return float64(d.Date(i).YearDay()), true
		}
	}
	return 0, false
}
