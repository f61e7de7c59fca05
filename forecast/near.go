package forecast

import (
	"cmp"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"

	"thawline/forecast/sap"
	"thawline/forecast/trunk"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// Nearby is what was seen today at a bush, as a hint of how much warmer the air there is
// than today's forecast, its own offset apart. It says nothing of anybody's sap.
type Nearby struct {
	Place    weather.Place
	Exposure trunk.Exposure
	// Chances are how likely it would be to see that if the air were so much warmer, for
	// each of eyesGrid.
	Chances []float64
}

// eyesGrid are today's errors of the forecast that are told apart, K, evenly.
var eyesGrid = func() []float64 {
	const reach, step = 6.0, 0.25
	var out []float64
	for k := -reach; k <= reach; k += step {
		out = append(out, k)
	}
	return out
}()

// Eyes is what bushes near by saw today, and what it tells of this bush.
type Eyes struct {
	Reports int     `json:"reports"`
	WarmerK float64 `json:"warmer_k"` // than was forecast for today, most likely; 0 without reports
	SDK     float64 `json:"sd_k"`
}

// How alike the errors of today's forecast are at two bushes: half as alike for each halfKM
// between them, less for each metre of height, and less where one is open to wind and sun
// and the other is not (common practice; the distance is that at which errors of
// temperature forecasts of mesoscale models lose half of their likeness, from memory).
const (
	halfKM        = 60.0
	heightM       = 300.0 // at which a factor of 1/e is left
	otherExposed  = 0.85
	todayErrorSDK = 1.5 // of a forecast that was made this morning
	leastEyesSDK  = 0.3
	eyeWrong      = 0.1 // of what strangers write down
	readWrong     = 0.02
	mostEyes      = 50
	kmPerDegree   = 111.2
)

// likeness is how alike today's errors of the forecast are at two places, 0 to 1.
func likeness(a, b weather.Place, ea, eb *trunk.Exposure) float64 {
	north := (a.LatitudeDeg - b.LatitudeDeg) * kmPerDegree
	east := (a.LongitudeDeg - b.LongitudeDeg) * kmPerDegree * math.Cos((a.LatitudeDeg+b.LatitudeDeg)/2*math.Pi/180)
	r := math.Exp2(-math.Hypot(north, east) / halfKM)
	if up := a.ElevationM - b.ElevationM; !math.IsNaN(up) {
		r *= math.Exp(-math.Abs(up) / heightM)
	}
	if !sameStand(ea, eb) {
		r *= otherExposed
	}
	return r
}

// sameStand reports whether two bushes are exposed alike.
func sameStand(a, b *trunk.Exposure) bool {
	faces := a.FacesDeg == b.FacesDeg || math.IsNaN(a.FacesDeg) && math.IsNaN(b.FacesDeg)
	return faces && a.SunShare == b.SunShare && a.SkyView == b.SkyView && a.WindShare == b.WindShare
}

// Near reports whether what is seen somewhere is near enough to tell something of a place.
func (n *Nearby) Near(place *weather.Place) bool {
	const least = 0.15
	var alike trunk.Exposure
	return likeness(n.Place, *place, &alike, &alike) >= least
}

// Matters reports whether what was seen tells something of a place. What was told for other
// errors than these, as by another version, tells nothing.
func (n *Nearby) Matters(place *weather.Place) bool {
	return len(n.Chances) == len(eyesGrid) && n.Near(place)
}

// LookAround is what reports near by tell of today's error of the forecast at a bush: a
// normal field is held against them, each by a normal law in its stead that is made to fit
// beside all others (expectation propagation: Rasmussen and Williams 2006, section 3.6).
func LookAround(site *Site, near []Nearby) Eyes {
	near = nearest(site, near)
	n := len(near) + 1 // the last is the bush itself
	if n == 1 {
		return Eyes{SDK: todayErrorSDK}
	}
	at := func(i int) (weather.Place, *trunk.Exposure) {
		if i == n-1 {
			return site.Place, &site.Exposure
		}
		place := near[i].Place
		if math.IsNaN(place.ElevationM) {
			place.ElevationM = site.Place.ElevationM
		}
		return place, &near[i].Exposure
	}
	field := mat.NewSymDense(n, nil)
	for i := range n {
		for j := range i + 1 {
			a, ea := at(i)
			b, eb := at(j)
			field.SetSym(i, j, todayErrorSDK*todayErrorSDK*likeness(a, b, ea, eb))
		}
	}
	precision, pull := make([]float64, n), make([]float64, n)
	mean, variance := make([]float64, n), make([]float64, n)
	for range eyesSweeps {
		if !conditional(field, precision, pull, mean, variance) {
			return Eyes{SDK: todayErrorSDK}
		}
		for i := range near {
			without := 1/variance[i] - precision[i]
			if without <= 1e-3 {
				continue
			}
			m, v, ok := tilted((mean[i]/variance[i]-pull[i])/without, 1/without, near[i].Chances)
			if !ok {
				continue
			}
			precision[i] += eyesDamp * (max(1/v-without, 0) - precision[i])
			pull[i] += eyesDamp * (m/v - (mean[i]/variance[i] - pull[i]) - pull[i])
		}
	}
	if !conditional(field, precision, pull, mean, variance) {
		return Eyes{SDK: todayErrorSDK}
	}
	return Eyes{Reports: n - 1, WarmerK: mean[n-1], SDK: math.Sqrt(variance[n-1])}
}

const (
	eyesSweeps = 6
	eyesDamp   = 0.8
)

// nearest are the reports that tell most, at most mostEyes of them.
func nearest(site *Site, near []Nearby) []Nearby {
	if len(near) <= mostEyes {
		return near
	}
	near = slices.Clone(near)
	slices.SortStableFunc(near, func(a, b Nearby) int {
		return cmp.Compare(likeness(site.Place, b.Place, &site.Exposure, &b.Exposure),
			likeness(site.Place, a.Place, &site.Exposure, &a.Exposure))
	})
	return near[:mostEyes]
}

// conditional are the means and variances of a normal field of mean zero at its points, of
// which each is seen with a precision and a pull, precision times what is seen.
func conditional(field *mat.SymDense, precision, pull, mean, variance []float64) bool {
	n := len(mean)
	all := mat.NewSymDense(n, nil)
	for i := range n {
		for j := range i + 1 {
			x := math.Sqrt(precision[i]*precision[j]) * field.At(i, j)
			if i == j {
				x++
			}
			all.SetSym(i, j, x)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(all) {
		return false
	}
	scaled := mat.NewDense(n, n, nil) // of the field, each row by the root of its precision
	for i := range n {
		for j := range n {
			scaled.Set(i, j, math.Sqrt(precision[i])*field.At(i, j))
		}
	}
	var solved, known mat.Dense
	if chol.SolveTo(&solved, scaled) != nil {
		return false
	}
	known.Mul(scaled.T(), &solved)
	for i := range n {
		mean[i] = 0
		for j := range n {
			mean[i] += (field.At(i, j) - known.At(i, j)) * pull[j]
		}
		variance[i] = max(field.At(i, i)-known.At(i, i), leastEyesSDK*leastEyesSDK)
	}
	return true
}

// tilted are mean and variance of a normal law times chances on eyesGrid.
func tilted(mean, variance float64, chances []float64) (m, v float64, ok bool) {
	sum := 0.0
	for i, k := range eyesGrid {
		w := math.Exp(-(k-mean)*(k-mean)/2/variance) * chances[i]
		sum, m, v = sum+w, m+w*k, v+w*k*k
	}
	if sum <= 0 {
		return 0, 0, false
	}
	m /= sum
	v = v/sum - m*m
	return m, v, v > 1e-4
}

// takeNear has today's air at a bush as bushes near by saw it, where nobody has seen
// anything at the bush itself today: from midnight on in full, and from tonight on less by
// the hour.
func takeNear(in *Inputs, e *weather.Ensemble) Eyes {
	if len(in.Near) == 0 || seenToday(in) {
		return Eyes{}
	}
	eyes := LookAround(&in.Site, in.Near)
	y, m, d := in.Now.In(in.Site.Zone).Date()
	e.Today(firstMoment(y, m, d, in.Site.Zone), firstMoment(y, m, d+1, in.Site.Zone), eyes.WarmerK, eyes.SDK)
	return Eyes{eyes.Reports, round(eyes.WarmerK, 2) + 0, round(eyes.SDK, 2)}
}

// seenToday reports whether somebody has written down today what the bush's air or taps do.
func seenToday(in *Inputs) bool {
	today := in.Now.In(in.Site.Zone).Format(time.DateOnly)
	for i := range in.Observed {
		o := &in.Observed[i]
		if in.sees(o) && (o.Kind.Drip() || o.Kind.Read()) && o.At.In(in.Site.Zone).Format(time.DateOnly) == today {
			return true
		}
	}
	return false
}

// seen is what people and gauges at a bush saw of today's air, for bushes near by; nil where
// nobody saw anything.
func (p *Prospect) seen() *Nearby {
	in := &p.in
	today := in.Now.In(in.Site.Zone).Format(time.DateOnly)
	var said []word
	for _, w := range words(in, p.strands) {
		if w.at.In(in.Site.Zone).Format(time.DateOnly) == today {
			said = append(said, w)
		}
	}
	offset, sd := p.offsetBefore(said)
	chances := make([]float64, len(eyesGrid)) // if the bush's own offset were as is most likely
	for i := range chances {
		chances[i] = 1
	}
	ok := false
	if len(said) > 0 {
		shifts, flows := p.shifted()
		for i := range said {
			ok = said[i].tells(chances, shifts, flows, p.strands.past[0].Index(said[i].at)) || ok
		}
	}
	for _, b := range besides(in, &in.Bulletin.Course, &in.Bulletin.Course) {
		if b.At.In(in.Site.Zone).Format(time.DateOnly) == today {
			for i, k := range eyesGrid {
				z := (k - (b.ErrorK - offset)) / (2 * thermometerSDK)
				chances[i] *= readWrong + (1-readWrong)*math.Exp(-z*z/2)
			}
			ok = true
		}
	}
	if !ok {
		return nil
	}
	return &Nearby{Place: in.Site.Place, Exposure: in.Site.Exposure, Chances: blurred(chances, sd)}
}

// blurred are chances where the offset that they lean on is known to a standard deviation.
func blurred(chances []float64, sd float64) []float64 {
	out := make([]float64, len(chances))
	for i, k := range eyesGrid {
		sum := 0.0
		for j, other := range eyesGrid {
			z := (k - other) / max(sd, 0.1)
			w := math.Exp(-z * z / 2)
			sum += w
			out[i] += w * chances[j]
		}
		out[i] = math.Round(1e4*out[i]/sum) / 1e4
	}
	return out
}

// offsetBefore is what was held of the bush's own offset before today's words, which were
// taken to speak of it.
func (p *Prospect) offsetBefore(said []word) (mean, sd float64) {
	sum := 0.0
	for n, w := range p.bush.Weights() {
		for i := range said {
			chance := volume.DripChance(said[i].flow[n])
			if !said[i].drips {
				chance = 1 - chance
			}
			w /= chance
		}
		sum += w
		mean += w * p.strands.offsets[n]
		sd += w * p.strands.offsets[n] * p.strands.offsets[n]
	}
	mean /= sum
	return mean, math.Sqrt(max(sd/sum-mean*mean, 0))
}

// tells takes a word into chances; flows are known for shifts of today's air, beyond which
// they are as at the last. It reports false where the word lies outside of the weather.
func (w *word) tells(chances, shifts []float64, flows [][]float64, hour int) bool {
	if hour < 0 || hour >= len(flows[0]) {
		return false
	}
	then := make([]float64, len(flows))
	for n := range then {
		then[n] = flows[n][hour]
	}
	for i, k := range eyesGrid {
		chance := eyeWrong + (1-2*eyeWrong)*volume.DripChance(between(shifts, then, k))
		if !w.drips {
			chance = 1 - chance
		}
		chances[i] *= chance
	}
	return true
}

// ifToday is what a usual tap of the site gave by the hour of the past if today's air, from
// midnight on, had been shifted, K, and the bush were as warm as is most likely else.
func (p *Prospect) ifToday() (shifts []float64, flows [][]float64) {
	site, past := &p.in.Site, &p.strands.past[0]
	offset, _ := p.bush.Offset()
	y, m, d := p.in.Now.In(site.Zone).Date()
	midnight := firstMoment(y, m, d, site.Zone)
	count := len(p.strands.offsets)
	air, taps := make([]weather.Series, count), 0.0
	for n := range count {
		shifts = append(shifts, todayErrorSDK*2.5*(2*float64(n)/float64(count-1)-1))
		own := past.Slice(0, past.Hours())
		own.Warm(offset - p.strands.offsets[0])
		own.Shift(midnight, shifts[n])
		air[n] = own
		flows = append(flows, make([]float64, past.Hours()))
	}
	stands := standsOf(site)
	for i := range stands {
		stand := &stands[i]
		states, wood := make([]trunk.State, count), make([][]trunk.Hour, count)
		for n := range count {
			states[n], wood[n] = stand.tree.Rest(air[n].At(weather.TemperatureC, 0)), make([]trunk.Hour, past.Hours())
		}
		stand.tree.RunMembers(states, air, p.ensemble.PastSuns, wood)
		for n := range count {
			holes := make(freshHoles, 1)
			for _, g := range stand.groups {
				group := &site.Groups[g]
				tap, flow := holes.run(sap.Begin(wood[n]), group.VacuumKPa, wood[n])
				since(group, &tap, &air[n], wood[n], flow)
				for h, q := range flow {
					flows[n][h] += q * float64(group.Taps)
				}
			}
		}
	}
	for g := range site.Groups {
		taps += float64(site.Groups[g].Taps)
	}
	for n := range flows {
		for h := range flows[n] {
			flows[n][h] /= max(taps, 1)
		}
	}
	return shifts, flows
}

// between reads a value off a line through points whose x rise.
func between(x, y []float64, at float64) float64 {
	if at <= x[0] {
		return y[0]
	}
	for i := 1; i < len(x); i++ {
		if at <= x[i] {
			return y[i-1] + (y[i]-y[i-1])*(at-x[i-1])/(x[i]-x[i-1])
		}
	}
	return y[len(y)-1]
}
