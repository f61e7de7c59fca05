package forecast

import (
	"math"
	"time"

	"thawline/forecast/boil"
	"thawline/forecast/records"
	"thawline/forecast/rounds"
	"thawline/forecast/weather"
)

// Programme is what a class can do.
type Programme string

// The programmes: sap drips and boils, sap boils that was held back, or syrup is stirred
// under a roof; and a visit that is called off.
const (
	Dripping  Programme = "dripping"
	FromStock Programme = "stock"
	Indoors   Programme = "indoors"
	CalledOff Programme = "off"
)

// ClassPlan is a visit that is booked, and what it takes.
type ClassPlan struct {
	ID        string    `json:"id"`
	From      time.Time `json:"from"`
	To        time.Time `json:"to"`
	Learners  int       `json:"learners"` // 0 where nobody has said
	DaysAhead int       `json:"days_ahead"`
	// Drips is the chance that sap drips in those hours; null beyond the forecast.
	Drips     *float64   `json:"drips"`
	SapL      float64    `json:"sap_l"`      // to hold back
	HoldFrom  *time.Time `json:"hold_from"`  // sap that is carried in from here on keeps until then
	HaveSapL  *float64   `json:"have_sap_l"` // that is likely there and good then; null beyond the forecast
	SyrupL    float64    `json:"syrup_l"`    // to hold back, to stir
	HaveSyrup float64    `json:"have_syrup_l"`
	WoodCords float64    `json:"wood_cords"`
	GasL      float64    `json:"gas_l"`
	FeelsC    *float64   `json:"feels_c"` // at its coldest, most likely; null beyond the forecast
	Programme Programme  `json:"programme"`
	Boils     string     `json:"boils"` // "sap", or "syrup" that boils on to sugar; "" for neither
	// Danger is what calls it off; null for nothing.
	Danger *Danger `json:"danger"`
}

// ColdForChildrenC is the wind chill from which they stay under a roof (common practice).
const ColdForChildrenC = -12.0

// What a class takes (common practice).
const (
	// DrippingLH is a drop in nine seconds: what a child sees within a breath or two.
	DrippingLH = 0.02
	// classBoil is how much of a visit is boiled for; the rest is the way, the trees and
	// goodbye. A pot or pan of finishing size goes with a class.
	classBoil = 2.0 / 3
	// learnersPerL may stir and taste of a litre of syrup.
	learnersPerL  = 12
	usualLearners = 20
	// enoughShare of the sap that is to be held back makes a boil all the same.
	enoughShare = 0.6
	likelyDrips = 0.5
	// carriedHour is when sap comes in, for how long it keeps.
	carriedHour = 18 * time.Hour
)

// classes plans visits before the fires are known: what they need and what calls them off.
func classes(in *Inputs, e *weather.Ensemble, flow []groupFlow, work *Work, s *shelf) []ClassPlan {
	out := []ClassPlan{}
	f := newFire(in)
	for i := range in.Classes {
		c := &in.Classes[i]
		if !c.End().After(in.Now) {
			continue
		}
		p := planned(in, f, s.life, c)
		p.HaveSyrup, p.Danger = round(s.syrupL, 1), work.dangerAt(p.From, p.To)
		p.DaysAhead = int(math.Round(dateOf(p.From, in.Site.Zone).Sub(dateOf(in.Now, in.Site.Zone)).Hours() / 24))
		p.weather(e, flow, in)
		out = append(out, p)
	}
	return out
}

// planned is what a visit takes, and from when on sap keeps for it.
func planned(in *Inputs, f *fire, life *lives, c *records.ClassVisit) ClassPlan {
	p := ClassPlan{ID: c.ID, From: c.Start(), To: c.End(), Learners: c.Learners}
	p.need(in, f)
	p.HoldFrom = holdFrom(life, &p, in.Site.Zone)
	return p
}

// hold is sap that is left alone for a visit, from a moment to another.
type hold struct {
	from, to time.Time
	litres   float64
}

// holds are those of the visits that are booked, where nobody writes down what is boiled.
func holds(in *Inputs, f *fire, life *lives) (out []hold) {
	for i := range in.Classes {
		c := &in.Classes[i]
		if p := planned(in, f, life, c); p.HoldFrom != nil {
			out = append(out, hold{later(p.HoldFrom.Add(-carriedHour), c.BookedAt), p.From, p.SapL})
		}
	}
	return out
}

// need is what sap, syrup and fuel the visit takes.
func (p *ClassPlan) need(in *Inputs, f *fire) {
	house := &in.Site.Boiling
	pot := house.Finishing()
	hours := p.To.Sub(p.From).Hours() * classBoil
	// As much as the pot boils away and holds: it boils when the class comes, and goes on.
	p.SapL = round(math.Max(hours*pot.Rate()/f.perSap, 2)+1000*pot.AreaM2*boil.UsualDepthM, 0)
	learners := float64(p.Learners)
	if learners == 0 {
		learners = usualLearners
	}
	p.SyrupL = round(math.Max(learners/learnersPerL, leastSyrupL), 1)
	if room := house.SyrupInPotL(); room > 0 {
		p.SyrupL = min(p.SyrupL, round(room, 1))
	}
	kg := hours * pot.Rate() * boil.DensityKgL(0)
	cords, gas := boil.Row{pot}.Burnt(kg, 0, f.syrup, nil)
	p.WoodCords, p.GasL = round(cords, 3), round(gas, 1)
}

// holdFrom is the first evening on which sap may be carried in that keeps until the visit
// is over, by how sap ages in the tank.
func holdFrom(life *lives, p *ClassPlan, zone *time.Location) *time.Time {
	hung := float64(unknownHung) * rounds.LifePerHour(4, rounds.PailHygiene)
	first := dateOf(p.From, zone)
	for d := -rounds.LongestHours/24 - 3; d <= 0; d++ {
		y, m, day := first.AddDate(0, 0, d).Date()
		at := time.Date(y, m, day, int(carriedHour.Hours()), 0, 0, 0, zone)
		if at.Before(p.From) && !life.until(at, hung).Before(p.To) {
			return &at
		}
	}
	return nil
}

// weather is what the forecast says of the hours of the visit, where it reaches them.
func (p *ClassPlan) weather(e *weather.Ensemble, flow []groupFlow, in *Inputs) {
	likely := &e.Likely
	from, to := likely.Index(later(p.From, likely.Start())), likely.Index(p.To.Add(-time.Minute))+1 // what is left, once it has begun
	if from < 0 || to > likely.Hours() || from >= to {
		return
	}
	feels := math.Inf(1)
	for h := from; h < to; h++ {
		feels = min(feels, FeelsLikeC(likely.At(weather.TemperatureC, h), likely.At(weather.WindSpeedMS, h)))
	}
	feels = round(feels, 0)
	p.FeelsC = &feels
	drip := 0
	for m := range e.Futures {
		most := 0.0
		for h := from; h < to; h++ {
			for g := range flow {
				if in.Site.Groups[g].In() {
					most = max(most, flow[g].futures[m][h])
				}
			}
		}
		if most >= DrippingLH {
			drip++
		}
	}
	chance := round(float64(drip)/float64(len(e.Futures)), 2)
	p.Drips = &chance
}

// choose decides on the programme and on what is boiled, once it is known what is there:
// sap, else syrup that was held back, which boils on to sugar.
func (p *ClassPlan) choose() {
	sap := p.HaveSapL == nil || *p.HaveSapL >= enoughShare*p.SapL
	syrup := p.HaveSyrup >= p.SyrupL
	switch {
	case sap:
		p.Boils = "sap"
	case syrup:
		p.Boils = "syrup"
	}
	switch {
	case p.Danger != nil:
		p.Programme, p.Boils = CalledOff, ""
	case p.FeelsC != nil && *p.FeelsC < ColdForChildrenC || p.Boils == "":
		p.Programme = Indoors
	case p.Drips != nil && *p.Drips >= likelyDrips:
		p.Programme = Dripping
	default:
		p.Programme = FromStock
	}
}

// held is sap that a visit asks the fire to leave alone.
func (b *burn) held(at time.Time) (litres float64) {
	for i := range b.visits {
		if v := &b.visits[i]; !v.done && v.Danger == nil && v.HoldFrom != nil && at.After(v.HoldFrom.Add(-carriedHour)) {
			litres += v.SapL
		}
	}
	return litres
}

// free is the good sap that the fire may take.
func (b *burn) free(at time.Time) float64 { return max(b.shelf.good(at)-b.held(at), 0) }

// burnVisit boils with a class what was held back for it, unless it is called off.
func (b *burn) burnVisit(day *BoilDay, v *visit, pressureHPa float64) {
	b.pour(v.From)
	v.done = true
	good := min(b.shelf.good(v.To), v.SapL)
	have := round(min(good+b.beyond(v), v.SapL), 1)
	v.HaveSapL = &have
	if v.Danger != nil || good < someSapL {
		return
	}
	bad := b.shelf.first(v.To)
	taken, _ := b.shelf.take(good, true, v.To)
	b.add(day, v.From, v.To, bad, taken, pressureHPa)
}

// beyond is the sap that likely runs for a visit after the last of the days for which rounds
// are planned, and is carried in by the evening.
func (b *burn) beyond(v *visit) (litres float64) {
	for d := range b.days {
		evening, err := time.ParseInLocation(time.DateOnly, b.days[d].Date, b.site.Zone)
		evening = evening.Add(carriedHour)
		if err == nil && v.HoldFrom != nil && evening.After(b.planned) && !evening.Before(*v.HoldFrom) && evening.Before(v.From) {
			litres += b.days[d].VolumeL.P50
		}
	}
	return litres
}

// visit is a plan as the fires go on.
type visit struct {
	*ClassPlan
	done bool
}

func visitsOf(plans []ClassPlan) []visit {
	out := make([]visit, len(plans))
	for i := range plans {
		out[i] = visit{ClassPlan: &plans[i]}
	}
	return out
}

// RunningOrder is what a visit does by the clock.
type RunningOrder struct {
	At   time.Time
	What string // in catalogues, as class_do_ and the word
}

// Order is the visit's running order: first the rules, last hands washed and goodbye.
func (p *ClassPlan) Order() []RunningOrder {
	parts := map[Programme][]string{
		Dripping:  {"rules", "guess", "trees", "pan", "stir", "taste"},
		FromStock: {"rules", "guess", "trees", "pan", "stir", "taste"},
		Indoors:   {"rules", "guess", "story", "stir", "taste"},
	}[p.Programme]
	weights := map[string]float64{"rules": 1, "guess": 1, "trees": 2.5, "pan": 2.5, "story": 2, "stir": 2, "taste": 1}
	sum, at := 0.0, p.From
	for _, what := range parts {
		sum += weights[what]
	}
	var out []RunningOrder
	for _, what := range parts {
		out = append(out, RunningOrder{at, what})
		at = at.Add(time.Duration(float64(p.To.Sub(p.From)) * weights[what] / sum).Round(5 * time.Minute))
	}
	return out
}

// ClassSteps are the days before a visit on which it is looked at again.
var ClassSteps = []int{7, 3, 1}

// NextStep is the next of them, 0 once none is left.
func (p *ClassPlan) NextStep() int {
	for _, days := range ClassSteps {
		if p.DaysAhead > days {
			return days
		}
	}
	return 0
}
