// Package gain finds what a maker gains who follows the plan: seasons as records say them
// are lived through again, by habit, by the plan and with foresight, and what runs over is
// held against the walks.
package gain

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/rounds"
	"thawline/forecast/sap"
	"thawline/forecast/trunk"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// Season is one spring of one bush.
type Season struct {
	Name       string
	Weather    weather.Series // hourly, from weeks before the taps were bored
	Visits     []records.Visit
	Place      weather.Place
	Zone       *time.Location
	WarmerK    float64 // what the bush is warmer by than where the weather was measured
	Taps       int
	ContainerL float64   // at each tap
	From, To   time.Time // without visits: bored, and pulled
	Richer     float64   // sap for each litre of the records; 1 for the records themselves
}

// season is a Season made ready.
type season struct {
	*Season
	weather  weather.Series // without gaps
	usual    []float64      // what a usual tap gave by the weather, L an hour
	from, to int            // hours of the weather
	fill     rounds.Fill
	site     forecast.Site
	days     int
	life     []float64 // of sap, used up by each hour
	clock    []int     // local hour at the start of each hour
	day      []int     // from the first
}

const (
	eveningHour = 18 // at which the plan is made
	habitHour   = 17 // at which people go who go by habit
	firstHour   = 8  // at which a walk can start; the last is before eveningHour
	// All hands together need so long for a round, whatever the bush's size.
	roundMinutes = 35.0
)

func ready(in *Season) (*season, error) {
	s := &season{Season: in, weather: in.Weather.Slice(0, in.Weather.Hours())}
	s.weather.FillGaps()
	if !s.weather.Bridge(weather.TemperatureC) {
		return nil, fmt.Errorf("%s: the weather holds no temperature", in.Name)
	}
	for i, c := range s.weather.Col(weather.TemperatureC) {
		s.weather.Col(weather.TemperatureC)[i] = c + in.WarmerK
	}
	s.weather.Complete(in.Place)
	bored, until := in.From, in.To
	for _, v := range in.Visits {
		if bored.IsZero() {
			if bored = v.CollectedAt; v.Collected() {
				bored = bored.AddDate(0, 0, -1)
			}
		}
		until = v.CollectedAt
	}
	s.from, s.to = s.weather.Index(bored), s.weather.Index(until)
	if s.from < 24 || s.to > s.weather.Hours() || s.to-s.from < 72 {
		return nil, fmt.Errorf("%s: the weather does not cover the season, %s to %s, and the day before it", in.Name,
			bored.Format(time.DateOnly), until.Format(time.DateOnly))
	}
	if in.Taps <= 0 || in.ContainerL <= 0 {
		return nil, errors.New(in.Name + ": give the taps, and what a container at each holds")
	}
	s.fill = rounds.Fill{Taps: in.Taps, ContainerL: in.ContainerL}
	s.site = forecast.Site{ID: "bush", Name: in.Name, Place: in.Place, Zone: in.Zone, TreeDiameterM: forecast.UsualDiameterM,
		Exposure: trunk.Exposed(trunk.Closed, math.NaN()),
		Groups: []forecast.Group{{ID: "pails", Taps: in.Taps, Method: volume.Pail, ContainerL: in.ContainerL,
			Tapped: s.weather.Time(s.from)}},
		Gathering: forecast.Gathering{MinutesPerTap: min(1, roundMinutes/float64(in.Taps))}}
	s.runWood()
	s.days = s.day[s.to-1] - s.day[s.from] + 1
	return s, nil
}

// runWood works out what a usual tap gave, and how sap aged.
func (s *season) runWood() {
	tree := trunk.NewTree(s.site.TreeDiameterM, s.site.Exposure, s.Place)
	state := tree.Rest(s.weather.At(weather.TemperatureC, 0))
	wood := make([]trunk.Hour, s.weather.Hours())
	tree.Run(&state, &s.weather, weather.Suns(&s.weather, s.Place), wood)
	s.usual = make([]float64, len(wood))
	var tap sap.State
	sap.Usual.Run(&tap, wood[:s.from], 0, s.usual[:s.from])
	tap.WarmHours = 0
	clear(s.usual[:s.from])
	sap.Usual.Run(&tap, wood[s.from:], 0, s.usual[s.from:])
	s.life = make([]float64, len(wood)+1)
	first := s.weather.Time(0).In(s.Zone)
	midnight := time.Date(first.Year(), first.Month(), first.Day(), 12, 0, 0, 0, time.UTC)
	for i := range s.usual {
		s.life[i+1] = s.life[i] + rounds.LifePerHour(s.weather.At(weather.TemperatureC, i), rounds.PailHygiene)
		at := s.weather.Time(i).In(s.Zone)
		s.clock = append(s.clock, at.Hour())
		s.day = append(s.day, int(time.Date(at.Year(), at.Month(), at.Day(), 12, 0, 0, 0, time.UTC).Sub(midnight).Hours()/24+0.5))
	}
}

// truth is one course that the sap may have taken: what a tap had given by each hour of
// the weather, litres.
type truth []float64

const (
	dayLog = 0.5 // how unlike the model the days between two visits are, as a logarithm
	// Of an interval's sap, what is laid by the hours above freezing and not by the model:
	// enough to place what the model has not seen.
	byWarmth = 0.05
	warmthL  = 0.002 // an hour and kelvin
)

// draw lays each visit's volume into the hours before it.
func (s *season) draw(seed uint64) truth {
	rng := rand.New(rand.NewPCG(seed, 0x6761696e))
	flow := make([]float64, s.weather.Hours())
	if len(s.Visits) == 0 {
		s.drawPrior(flow, seed)
	}
	since := s.from
	ratio, n := 0.0, 0.0
	var open [][2]int // of which nobody knows the volume
	for _, v := range s.Visits {
		remarks := v.Remarks()
		if !remarks.Emptied && (remarks.NotChecked || !v.Collected()) {
			continue
		}
		to := s.weather.Index(v.CollectedAt)
		if remarks.Emptied {
			open = append(open, [2]int{since, to})
			since = to
			continue
		}
		taps := v.Taps
		if taps == 0 {
			taps = s.Taps
		}
		gave := s.gave(v.VolumeL/float64(taps), rng)
		s.lay(flow, since, to, gave, rng)
		for _, q := range s.usual[since:to] {
			n += q
		}
		ratio += gave
		since = to
	}
	for _, o := range open {
		gave := 0.0
		for _, q := range s.usual[o[0]:o[1]] {
			gave += q * ratio / n
		}
		s.lay(flow, o[0], o[1], gave*math.Exp(dayLog*rng.NormFloat64()), rng)
	}
	t := make(truth, len(flow)+1)
	for i, q := range flow {
		t[i+1] = t[i] + q*s.Richer
	}
	return t
}

// gave is what a tap gave on average where so much was carried away: the best taps' pails
// may have run over. Full pails gave at least that.
func (s *season) gave(heldL float64, rng *rand.Rand) float64 {
	gave := gaveFor(rounds.Fill{Taps: 1, ContainerL: s.ContainerL}, heldL)
	const full = 0.95
	if heldL >= full*s.ContainerL {
		return gave * math.Exp(dayLog*math.Abs(rng.NormFloat64()))
	}
	return gave
}

// gaveFor is what one tap of a group gave on average whose containers hold so much.
func gaveFor(one rounds.Fill, heldL float64) float64 {
	low, high := heldL, heldL
	for one.Held(high) < heldL && high < 4*one.ContainerL {
		high += 0.5
	}
	for range 30 {
		if mid := (low + high) / 2; one.Held(mid) < heldL {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// lay spreads litres over hours as the model has them, each day with luck of its own.
func (s *season) lay(flow []float64, from, to int, litres float64, rng *rand.Rand) {
	if to <= from {
		return
	}
	weights := make([]float64, to-from)
	model, warm := 0.0, 0.0
	for i := range weights {
		model += s.usual[from+i]
		warm += max(s.weather.At(weather.TemperatureC, from+i), 0)
	}
	sum, today, luck := 0.0, -1, 1.0
	for i := range weights {
		if d := s.day[from+i]; d != today {
			today, luck = d, math.Exp(dayLog*rng.NormFloat64())
		}
		weights[i] = s.usual[from+i]*luck + max(byWarmth*model/max(warm, 1), warmthL/10)*max(s.weather.At(weather.TemperatureC, from+i),
			0) + 1e-9
		sum += weights[i]
	}
	for i, w := range weights {
		flow[from+i] += litres * w / sum
	}
}

// drawPrior is what handbooks would have of the season.
func (s *season) drawPrior(flow []float64, seed uint64) {
	p, err := volume.Learn(volume.Unknown(volume.Prior(volume.Pail)), []float64{0}, nil)
	if err != nil {
		return
	}
	months := make([]float64, s.day[s.to]+1)
	for d := range months {
		months[d] = float64(max(d-s.day[s.from], 0)) / 30
	}
	const of = 64 // draws that are spread evenly
	factors := p.Factors(make([]int, of), 1, months, seed/of)[0][seed%of]
	for i := s.from; i < s.to; i++ {
		flow[i] = s.usual[i] * factors[s.day[i]]
	}
}

// gaveL is what all taps gave over the season.
func (s *season) gaveL(t truth) float64 { return (t[s.to] - t[s.from]) * float64(s.Taps) }

// overL is what runs over between two hours if nobody comes in between, and nothing hung
// there before.
func (s *season) overL(t truth, from, to int) float64 {
	gave := t[to] - t[from]
	if gave*1.6 < s.ContainerL {
		return 0
	}
	return gave*float64(s.Taps) - s.fill.Held(gave)
}

// tally is what walks at some hours came to.
type tally struct{ walks, lossL, spoiltL float64 }

// hanging follows what hangs at a mean tap through a draw: who empties the pails at
// an hour leaves what is ice then.
type hanging struct {
	season *season
	truth  truth
	hour   int
	pail   rounds.Pail
}

func (s *season) hang(t truth) *hanging { return &hanging{season: s, truth: t, hour: s.from} }

// until goes on to an hour, and is what the tap has given since it was emptied, with the
// ice that was left.
func (p *hanging) until(hour int) float64 {
	for ; p.hour < hour; p.hour++ {
		p.pail.Hour(p.truth[p.hour+1]-p.truth[p.hour], rounds.Melts(p.season.weather.At(weather.TemperatureC, p.hour)))
	}
	return p.pail.LiquidL + p.pail.IceL
}

// empty carries in what is liquid in all pails, litres; what runs over is lost.
func (p *hanging) empty() (carriedL, lostL float64) {
	fill, gave := &p.season.fill, p.pail.LiquidL+p.pail.IceL
	held := fill.Held(gave)
	p.pail.IceL = min(p.pail.IceL, held/float64(fill.Taps))
	p.pail.LiquidL = 0
	return held - p.pail.IceL*float64(fill.Taps), gave*float64(fill.Taps) - held
}

// walk goes at each of the hours, which rise.
func (s *season) walk(t truth, hours []int) tally {
	one, pails, since := tally{walks: float64(len(hours))}, s.hang(t), s.from
	for _, h := range hours {
		pails.until(h)
		carried, lost := pails.empty()
		one.lossL += lost
		if s.spoilt(t, since, h) {
			one.spoiltL += carried
		}
		since = h
	}
	pails.until(s.to)
	_, lost := pails.empty()
	one.lossL += lost
	return one
}

// spoilt says whether the oldest sap that was caught since an hour has gone bad.
func (s *season) spoilt(t truth, since, to int) bool {
	const some = 0.1 // L a tap
	h := since
	for h < to && t[h]-t[since] < some {
		h++
	}
	return s.life[to]-s.life[h] >= 1
}
