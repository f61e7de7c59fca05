package boil

import (
	"errors"
	"fmt"
	"math"
	"sort"
	"time"
)

// Reading is what somebody read at a finishing pan: a thermometer, a hydrometer, or both.
type Reading struct {
	At    time.Time
	TempC float64 // of the boiling syrup, as the thermometer shows it; NaN where not read
	Brix  float64 // by the hydrometer, already corrected for temperature; NaN where not read
	// Changed says what was done since the reading before; what was known of the pan then
	// counts for less, or not at all.
	Changed Change
}

// Change is what was done to a pan between two readings.
type Change string

// The changes that matter.
const (
	Unchanged Change = ""
	Stoked    Change = "stoked"
	ToppedUp  Change = "topped_up" // or syrup was moved on: what is in the pan is another
)

// Finish is a pan on its way to syrup, as it is known before anything is read.
//
// Water goes up at a nearly steady rate while sugar stays, so that the water for each
// part of sugar, u = 100/Brix - 1, falls along a straight line. Temperature does not:
// at 50 °Brix a degree means eight minutes, at 66 two.
type Finish struct {
	PressureHPa float64
	// WaterC is where this thermometer showed boiling water today; NaN where nobody
	// tried, and the pressure says it.
	WaterC    float64
	SyrupBrix float64
	// PerMinute is how much u is expected to fall in a minute, and PerMinuteSD how far,
	// in its logarithm, it may be from that.
	PerMinute, PerMinuteSD float64
	MarkC                  float64 // between the thermometer's marks, or its digits
}

// FinishIn is a pan that boils so many litres of water away in an hour and will hold so
// many litres of syrup. How sure its rate is depends on how it is known.
func FinishIn(rateLH, syrupL, syrupBrix, pressureHPa float64, learnt bool) Finish {
	f := Finish{PressureHPa: pressureHPa, WaterC: math.NaN(), SyrupBrix: syrupBrix, PerMinuteSD: byAreaSD, MarkC: 1 / 1.8}
	if learnt {
		f.PerMinuteSD = boilToBoilSD
	}
	f.PerMinute = rateLH * DensityKgL(0) / (syrupL * DensityKgL(syrupBrix) * syrupBrix / 100) / 60
	return f
}

// Countdown is when syrup is to be drawn off, in minutes from the moment asked for.
type Countdown struct {
	Early  float64 `json:"early_min"` // one in ten are sooner
	Likely float64 `json:"likely_min"`
	Late   float64 `json:"late_min"` // one in ten are later
	Brix   float64 `json:"brix"`     // of what is in the pan now, most likely
	// DrawOffC is what this thermometer shows then.
	DrawOffC float64 `json:"draw_off_c"`
	// TestNow is the last call: it may be ready. It says test, and not draw off.
	TestNow bool `json:"test_now"`
	// Thin: a thermometer says little of so thin a syrup, and no hydrometer was read.
	Thin bool `json:"thin"`
	// Old: nobody has read anything for ten minutes.
	Old bool `json:"old"`
}

// What readings and fires do (common practice, but for those found by simulated boils:
// see the test beside).
const (
	thermometerSD = 0.3 // K, besides its marks
	hydrometerSD  = 0.4 // °Brix, of hot syrup in a cup
	// driftSD is how far a fire's rate wanders in half an hour, of itself; stokedSD is
	// how much less is known of it after stoking.
	driftSD, driftMin = 0.20, 30.0
	stokedSD          = 0.20
	// lateDrift widens the late end: fires die by themselves, and do not grow.
	lateDrift = 1.4
	// callChance is the chance that syrup is ready by now, or within the two minutes
	// that a test takes, at which the last call is made.
	callChance, testMin = 0.03, 0.5
	thinBrix            = 55.0
	oldAfter            = 10 * time.Minute
	longestMin          = 600.0
)

// uOf is the water for each part of sugar.
func uOf(brix float64) float64 { return 100/brix - 1 }

func brixOf(u float64) float64 { return 100 / (1 + u) }

// pan is what is believed of one: u and its fall in a minute, with their covariance.
type pan struct {
	u, r          float64
	vuu, vur, vrr float64
}

// age lets minutes go by: u falls, and the fire wanders.
func (p pan) age(minutes, drift float64) pan {
	q := drift * drift / driftMin // variance of the rate gained in a minute
	t := minutes
	return pan{
		u: p.u - p.r*t, r: p.r,
		vuu: p.vuu - 2*t*p.vur + t*t*p.vrr + q*t*t*t/3,
		vur: p.vur - t*p.vrr - q*t*t/2,
		vrr: p.vrr + q*t,
	}
}

// hear takes a reading of u itself, with its variance.
func (p pan) hear(u, variance float64) pan {
	k := 1 / (p.vuu + variance)
	gainU, gainR := p.vuu*k, p.vur*k
	off := u - p.u
	return pan{
		u: p.u + gainU*off, r: p.r + gainR*off,
		vuu: p.vuu * (1 - gainU), vur: p.vur * (1 - gainU), vrr: p.vrr - gainR*p.vur,
	}
}

// Watch follows one pan towards syrup.
type Watch struct {
	finish   Finish
	waterC   float64   // where water boils by the pressure
	showsK   float64   // how far off the thermometer is
	risesK   []float64 // above water, from leastBrix on by brixStep
	drawOffC float64   // by this thermometer
}

const leastBrix, mostBrix, brixStep = 15.0, 85.0, 0.25

// Begin takes what is known before anything is read, or says what of it can't be.
func Begin(f Finish) (*Watch, error) {
	if !(f.PressureHPa >= 500) || f.PressureHPa > 1100 {
		return nil, fmt.Errorf("%g hPa: no station pressure; near 1000 at the sea, 950 at 500 m", f.PressureHPa)
	}
	if !(f.SyrupBrix >= 60) || f.SyrupBrix > 70 {
		return nil, fmt.Errorf("%g °Brix: syrup has 66 to 68.9 per cent of sugar", f.SyrupBrix)
	}
	if !(f.PerMinute > 0) || f.PerMinute > 1 || !(f.PerMinuteSD > 0) {
		return nil, errors.New("it is not known how fast the pan thickens: say how much it boils away in an hour, and how much syrup it will hold")
	}
	w := &Watch{finish: f, waterC: WaterBoilsC(f.PressureHPa)}
	if !math.IsNaN(f.WaterC) {
		if w.showsK = f.WaterC - w.waterC; math.Abs(w.showsK) > 4 {
			return nil, fmt.Errorf("boiling water at %.1f °C, where today's air says %.1f: try it again, or use another thermometer",
				f.WaterC, w.waterC)
		}
	}
	for brix := leastBrix; brix <= mostBrix; brix += brixStep {
		w.risesK = append(w.risesK, SyrupBoilsC(f.PressureHPa, brix)-w.waterC)
	}
	w.drawOffC = SyrupBoilsC(f.PressureHPa, f.SyrupBrix) + w.showsK
	return w, nil
}

// DrawOffC is where this thermometer shows finished syrup today, °C.
func (w *Watch) DrawOffC() float64 { return w.drawOffC }

// Facts are what a program without this package needs for the same sums: a page on a
// phone without signal.
type Facts struct {
	WaterC      float64   `json:"water_c"` // boiling water by this thermometer
	LeastBrix   float64   `json:"least_brix"`
	BrixStep    float64   `json:"brix_step"`
	RisesK      []float64 `json:"rises_k"` // above water, for each step of °Brix
	SyrupBrix   float64   `json:"syrup_brix"`
	PerMinute   float64   `json:"per_minute"`
	PerMinuteSD float64   `json:"per_minute_sd"`
	ReadSD      float64   `json:"read_sd_k"`
	FloatSD     float64   `json:"float_sd_brix"`
	DriftSD     float64   `json:"drift_sd"`
	DriftMin    float64   `json:"drift_min"`
	LateDrift   float64   `json:"late_drift"`
	StokedSD    float64   `json:"stoked_sd"`
	CallChance  float64   `json:"call_chance"`
	TestMin     float64   `json:"test_min"`
	ThinBrix    float64   `json:"thin_brix"`
	OldMin      float64   `json:"old_min"`
	LongestMin  float64   `json:"longest_min"`
}

// Facts are those of this pan, today.
func (w *Watch) Facts() Facts {
	f := Facts{WaterC: w.waterC + w.showsK, LeastBrix: leastBrix, BrixStep: brixStep, SyrupBrix: w.finish.SyrupBrix,
		PerMinute: w.finish.PerMinute, PerMinuteSD: w.finish.PerMinuteSD, ReadSD: w.readSD(), FloatSD: hydrometerSD,
		DriftSD: driftSD, DriftMin: driftMin, LateDrift: lateDrift, StokedSD: stokedSD, CallChance: callChance, TestMin: testMin,
		ThinBrix: thinBrix, OldMin: oldAfter.Minutes(), LongestMin: longestMin}
	for _, k := range w.risesK {
		f.RisesK = append(f.RisesK, math.Round(k*1e4)/1e4)
	}
	return f
}

// readSD is how far a temperature that was read is off, K.
func (w *Watch) readSD() float64 {
	return math.Sqrt(thermometerSD*thermometerSD + w.finish.MarkC*w.finish.MarkC/12)
}

// brixAt is the sugar of what boils so far above water, by the curve of today's pressure.
func (w *Watch) brixAt(riseK float64) float64 {
	i := sort.SearchFloat64s(w.risesK, riseK)
	switch i {
	case 0:
		return leastBrix
	case len(w.risesK):
		return mostBrix
	}
	part := (riseK - w.risesK[i-1]) / (w.risesK[i] - w.risesK[i-1])
	return leastBrix + brixStep*(float64(i-1)+part)
}

// At says when syrup will be ready, from readings in the order of their times, as of a
// moment not before the last. There must be one reading. An error names the reading that
// can't be right, and nothing is guessed from it.
func (w *Watch) At(readings []Reading, now time.Time) (Countdown, error) {
	if err := w.check(readings, now); err != nil {
		return Countdown{}, err
	}
	var p pan
	known, weighed := false, false
	at := readings[0].At
	for _, r := range readings {
		if known {
			p = p.age(r.At.Sub(at).Minutes(), driftSD*p.r)
		}
		at = r.At
		switch r.Changed {
		case ToppedUp:
			known, weighed = false, false
		case Stoked:
			p.vrr += square(stokedSD * p.r)
		case Unchanged:
		}
		if !known {
			// Nothing is known of the sugar, and the rate by the pan alone.
			known, p = true, pan{u: uOf(40), vuu: uOf(40) * uOf(40) * 100, r: w.finish.PerMinute,
				vrr: square(w.finish.PerMinute * w.finish.PerMinuteSD)}
		}
		if !math.IsNaN(r.Brix) {
			weighed = true
			p = p.hear(uOf(r.Brix), square(hydrometerSD*100/(r.Brix*r.Brix)))
		}
		if !math.IsNaN(r.TempC) {
			p = w.hearThermometer(p, r.TempC-w.showsK-w.waterC)
		}
		p.r = max(p.r, 0.2*w.finish.PerMinute) // a fire that is out is not a pan that fills
	}
	drift := driftSD * p.r
	p = p.age(now.Sub(at).Minutes(), drift)
	syrup := uOf(w.finish.SyrupBrix)
	c := Countdown{Brix: brixOf(max(p.u, 0.05)), DrawOffC: w.drawOffC, Old: now.Sub(at) > oldAfter,
		Early: p.until(syrup, drift, 0.1), Likely: p.until(syrup, drift, 0.5), Late: p.until(syrup, lateDrift*drift, 0.9),
		TestNow: p.readyBy(syrup, drift, testMin) >= callChance}
	c.Thin = !weighed && c.Brix < thinBrix
	return c, nil
}

// hearThermometer weighs a temperature by what a degree means at the sugar it tells of. A
// degree too hot means fewer minutes than a degree too cold: it is the hot side that
// counts, since nobody must be called to thin syrup for a thermometer's whim.
func (w *Watch) hearThermometer(p pan, riseK float64) pan {
	sd := w.readSD()
	u := uOf(w.brixAt(riseK))
	return p.hear(u, square(max(u-uOf(w.brixAt(riseK+sd)), 0.005)))
}

// readyBy is the chance that u has fallen to that of syrup within minutes.
func (p pan) readyBy(syrup, drift, minutes float64) float64 {
	later := p.age(minutes, drift)
	return phi((syrup - later.u) / math.Sqrt(max(later.vuu, 1e-12)))
}

// until is in how many minutes syrup is ready with a chance: 0 if by now, longestMin if
// not within it.
func (p pan) until(syrup, drift, chance float64) float64 {
	if p.readyBy(syrup, drift, 0) >= chance {
		return 0
	}
	for t := 1.0; t <= longestMin; t++ { // the first time: far ahead, where nothing is known, the chance may fall again
		if p.readyBy(syrup, drift, t) < chance {
			continue
		}
		low, high := t-1, t
		for range 12 {
			if middle := (low + high) / 2; p.readyBy(syrup, drift, middle) < chance {
				low = middle
			} else {
				high = middle
			}
		}
		return high
	}
	return longestMin
}

func square(x float64) float64 { return x * x }

func phi(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// check refuses what can't be a reading of a boiling pan.
func (w *Watch) check(readings []Reading, now time.Time) error {
	if len(readings) == 0 {
		return errors.New("nothing was read yet: give a time with a temperature or a hydrometer's °Brix")
	}
	water := w.waterC + w.showsK
	for i, r := range readings {
		where := fmt.Sprintf("reading %d", i+1)
		switch {
		case math.IsNaN(r.TempC) && math.IsNaN(r.Brix):
			return fmt.Errorf("%s: neither temperature nor °Brix", where)
		case !math.IsNaN(r.TempC) && (r.TempC < water-5 || r.TempC > water+30):
			return fmt.Errorf("%s: %.1f °C is no boiling syrup; water boils at %.1f today", where, r.TempC, water)
		case !math.IsNaN(r.Brix) && !(r.Brix >= 5 && r.Brix <= 80):
			return fmt.Errorf("%s: %.1f °Brix is not between 5 and 80", where, r.Brix)
		case i > 0 && r.At.Before(readings[i-1].At), r.At.After(now):
			return fmt.Errorf("%s: its time is out of order", where)
		}
	}
	return nil
}
