package rounds

import "math"

// between is what a group has to expect from one visit to the next.
type between struct {
	price float64 // lossL, and late by overRiskL
	late  float64 // tap-hours at more than the accepted risk, by what it is beyond that
	lossL float64 // mean of the draws: run over, burst or spoilt
	sapL  float64 // mean of the draws: what the next visit carries away
	risk  float64 // chance that it runs over
}

// pairTable knows what one group has to expect between any two starts; that
// depends on nothing else. Its rows are filled in as far as they are asked for. Start -1
// is now, and the one after the last the plan's end.
type pairTable struct {
	group    *TapGroup
	weather  *planWeather
	accepted float64
	starts   []int       // hours
	rows     []row       // by the first of two starts, shifted by one
	ran      [][]float64 // by start and end, and draw: litres a tap since the plan's start
	mean     []float64   // by start and end: mean of ran
	// By start, shifted by one, and draw: what a tap had given by then, less what is still in
	// its container after a visit: what hangs now, or later its ice.
	before     [][]float64
	meanBefore []float64
	most       []float64   // by start and end: the most that ran in a draw since the start before
	freezes    [][]int     // by draw: hours in which a hard freeze sets in; none where it does no harm
	atFreeze   [][]float64 // by draw and hard freeze of its member: as ran
	overNow    []float64   // by draw: had run over before now
	iceL       []float64   // a tap, by start and end: of now's ice what has not melted, mean of the draws
	first      []int       // by start, shifted by one: the hour in which sap is first caught
	fifth      float64     // of the taps
	safeL      float64     // a tap, below which nothing runs over and no freeze does harm
}

// row is what follows one start.
type row struct {
	to      int       // what lies between here and starts before it is known
	cells   []between // from the next start on
	mostL   float64
	burst   []float64 // by draw, so far
	freezes []int32   // by draw, so far
}

const (
	// hardFreezeC bends and bursts full containers, bulgeShare is how full they
	// may be then (common practice).
	hardFreezeC = -8.0
	bulgeShare  = 0.85
	// notWorthL a tap is too little to count as hanging (common practice).
	notWorthL = 0.1
)

// planWeather is what the air means for sap in containers.
type planWeather struct {
	hours   int
	maxAge  float64
	freezes [][]int   // by member: hours in which a hard freeze sets in
	age     []float64 // life used up by each hour, mean air
	meltedL []float64 // of a pail's ice, by each hour, mean air
}

func weatherOf(req *PlanRequest) *planWeather {
	w := &planWeather{maxAge: req.Costs.MaxAge}
	for g := range req.Groups {
		for _, flow := range req.Groups[g].FlowL {
			w.hours = max(w.hours, len(flow))
		}
	}
	w.freezes = make([][]int, len(req.AirC))
	for k, air := range req.AirC {
		for h := 1; h < min(len(air), w.hours); h++ {
			if air[h] <= hardFreezeC && air[h-1] > hardFreezeC {
				w.freezes[k] = append(w.freezes[k], h)
			}
		}
	}
	w.age, w.meltedL = make([]float64, w.hours+1), make([]float64, w.hours+1)
	for h := range w.hours {
		sum, n := 0.0, 0.0
		for _, air := range req.AirC {
			if h < len(air) {
				sum, n = sum+air[h], n+1
			}
		}
		c := sum / max(n, 1)
		w.age[h+1] = w.age[h] + LifePerHour(c, PailHygiene)
		w.meltedL[h+1] = w.meltedL[h] + max(pailLossWK*c*3600/fusionJKg, 0)
	}
	return w
}

func (w *planWeather) freezesOf(draw, draws int) []int {
	if len(w.freezes) == 0 {
		return nil
	}
	return w.freezes[draw*len(w.freezes)/draws]
}

// tableOf prepares the table of a group. The starts are hours and rise; several may
// lie in one hour.
func tableOf(group *TapGroup, w *planWeather, accepted float64, starts []int) *pairTable {
	n, draws := len(starts), len(group.FlowL)
	t := &pairTable{group: group, weather: w, accepted: accepted, starts: starts,
		rows: make([]row, n+1)}
	slab := make([]float64, (n+1)*draws)
	t.ran, t.atFreeze, t.overNow = make([][]float64, n+1), make([][]float64, draws), make([]float64, draws)
	for j := range t.ran {
		t.ran[j] = slab[j*draws : (j+1)*draws]
	}
	mean := make([]float64, w.hours)
	for d, flow := range group.FlowL {
		var freezes []int
		if group.TankL <= 0 {
			freezes = w.freezesOf(d, draws)
		}
		t.freezes = append(t.freezes, freezes)
		t.overNow[d] = group.over(group.HeldL[d])
		ran, j := 0.0, 0
		for h := 0; h <= w.hours; h++ {
			for ; j < n && starts[j] <= h; j++ {
				t.ran[j][d] = ran
			}
			if len(freezes) > len(t.atFreeze[d]) && freezes[len(t.atFreeze[d])] == h {
				t.atFreeze[d] = append(t.atFreeze[d], ran)
			}
			if h < len(flow) {
				ran += flow[h]
				mean[h] += flow[h]
			}
		}
		for ; j <= n; j++ {
			t.ran[j][d] = ran
		}
	}
	const some = 0.005 // litres an hour
	t.first = make([]int, n+1)
	for j := -1; j < n; j++ {
		h := t.hour(j)
		for h < w.hours && mean[h] < some*float64(draws) {
			h++
		}
		t.first[j+1] = h
	}
	t.sumUp()
	return t
}

// sumUp prepares the rows.
func (t *pairTable) sumUp() {
	l, n := t.group, len(t.starts)
	t.safeL, t.fifth = math.Inf(1), float64(l.Taps)/float64(len(tapSpread))
	switch {
	case l.TankL > 0:
		t.safeL = l.TankL / float64(l.Taps)
	case l.ContainerL > 0:
		t.safeL = bulgeShare * l.ContainerL / tapSpread[len(tapSpread)-1]
	}
	t.mean, t.most, t.iceL = make([]float64, n+1), make([]float64, n+1), make([]float64, n+1)
	t.before, t.meanBefore = make([][]float64, n+1), make([]float64, n+1)
	now := make([]float64, len(l.HeldL))
	for d, held := range l.HeldL {
		now[d] = -held
		t.rows[0].mostL = max(t.rows[0].mostL, held)
	}
	t.before[0], t.meanBefore[0] = now, mean(now)
	for j, ran := range t.ran {
		t.mean[j] = mean(ran)
		for d, r := range ran {
			if j > 0 {
				r -= t.ran[j-1][d]
			}
			t.most[j] = max(t.most[j], r)
		}
		before := ran
		if left := max(l.IceL-t.weather.meltedL[t.hour(j)], 0); left > 0 {
			before = make([]float64, len(ran))
			for d, r := range ran {
				before[d] = r - min(left, l.HeldL[d])
			}
			t.iceL[j] = t.mean[j] - mean(before)
		}
		if j < n {
			r := &t.rows[j+1]
			t.before[j+1], t.meanBefore[j+1] = before, mean(before)
			r.to, r.mostL = j+1, l.IceL
		}
	}
}

func (t *pairTable) hour(start int) int {
	switch {
	case start < 0:
		return 0
	case start < len(t.starts):
		return min(t.starts[start], t.weather.hours)
	default:
		return t.weather.hours
	}
}

// at is what lies between starts i and j.
func (t *pairTable) at(i, j int) *between {
	r := &t.rows[i+1]
	if r.to <= j {
		t.extend(r, i, j)
	}
	return &r.cells[j-i-1]
}

func (t *pairTable) extend(r *row, i, to int) {
	l := t.group
	if r.cells == nil {
		r.cells = make([]between, len(t.starts)-i)
	}
	for ; r.to <= to; r.to++ {
		j := r.to
		r.mostL += t.most[j]
		c := &r.cells[j-i-1]
		if j > i+1 {
			c.late = r.cells[j-i-2].late
		}
		if r.mostL <= t.safeL {
			if sap := float64(l.Taps) * (t.mean[j] - t.meanBefore[i+1]); t.spoils(i, t.hour(j)) {
				c.lossL = sap
			} else {
				c.sapL = max(sap-float64(l.Taps)*t.iceL[j], 0)
			}
			c.price = c.lossL + overRiskL*c.late
			continue
		}
		t.workOut(r, c, i, j)
	}
}

// workOut goes through the draws.
func (t *pairTable) workOut(r *row, c *between, i, j int) {
	l := t.group
	taps, draws := float64(l.Taps), len(l.FlowL)
	now, before, overNow := t.ran[j][:draws], t.before[i+1][:draws], t.overNow[:draws]
	until := t.hour(j)
	sap, most := 0.0, 0.0
	for d := range draws {
		held := now[d] - before[d]
		most = max(most, held)
		sap += held
		if held <= t.safeL {
			continue
		}
		over, already := t.over(held), 0.0
		if i < 0 {
			already = overNow[d]
		}
		if over > already+1e-9 {
			c.risk++
		}
		c.sapL -= over
		lost := max(over-already, 0)
		if f := t.freezes[d]; len(f) > 0 && f[0] < until {
			lost = max(lost, t.bursts(r, i, d, until))
		}
		c.lossL += lost
	}
	r.mostL = most
	n := float64(max(draws, 1))
	c.lossL, c.risk = c.lossL/n, c.risk/n
	c.sapL = max((c.sapL+sap*taps)/n-t.iceL[j]*taps, 0)
	if t.spoils(i, until) {
		c.lossL, c.sapL = t.whole(i, j), 0
	}
	c.late += taps * float64(until-t.hour(j-1)) * max(c.risk-t.accepted, 0)
	c.price = c.lossL + overRiskL*c.late
}

// over is what a group has run over once each tap has given so much.
func (t *pairTable) over(heldL float64) float64 {
	l := t.group
	if l.TankL > 0 {
		return max(heldL*float64(l.Taps)-l.TankL, 0)
	}
	if l.ContainerL <= 0 {
		return 0
	}
	sum := 0.0
	for k := len(tapSpread) - 1; k >= 0; k-- {
		x := tapSpread[k]*heldL - l.ContainerL
		if x <= 0 {
			break
		}
		sum += x
	}
	return sum * t.fifth
}

// whole is all that the group gives between two starts and has held since before,
// litres, what had run over before now left out.
func (t *pairTable) whole(i, j int) float64 {
	sum := 0.0
	for d, ran := range t.ran[j] {
		lost := (ran - t.before[i+1][d]) * float64(t.group.Taps)
		if i < 0 {
			lost -= t.overNow[d]
		}
		sum += max(lost, 0)
	}
	return sum / float64(max(len(t.group.FlowL), 1))
}

// bursts is what a hard freeze before an hour costs of containers that are too full for it.
func (t *pairTable) bursts(r *row, i, d, until int) float64 {
	l, before, freezes := t.group, t.before[i+1][d], t.freezes[d]
	if r.burst == nil {
		r.burst, r.freezes = make([]float64, len(l.FlowL)), make([]int32, len(l.FlowL))
	}
	for ; int(r.freezes[d]) < len(freezes) && freezes[r.freezes[d]] < until; r.freezes[d]++ {
		if freezes[r.freezes[d]] <= t.hour(i) {
			continue
		}
		held, lost := t.atFreeze[d][r.freezes[d]]-before, 0.0
		if held <= t.safeL {
			continue
		}
		for _, share := range tapSpread {
			if in := min(held*share, l.ContainerL); in > bulgeShare*l.ContainerL {
				lost += in
			}
		}
		r.burst[d] = max(r.burst[d], lost*float64(l.Taps)/float64(len(tapSpread)))
	}
	return r.burst[d]
}

// spoils says whether the oldest sap in the containers is too old by an hour.
func (t *pairTable) spoils(i, until int) bool {
	return t.weather.maxAge > 0 && t.aged(i, until) > t.weather.maxAge
}

// aged is the share of its life that the oldest sap in the containers has used up by an
// hour, since a start; 0 where there is none.
func (t *pairTable) aged(i, until int) float64 {
	used, since := 0.0, t.first[i+1]
	if i < 0 && mean(t.group.HeldL) > notWorthL {
		used, since = t.group.AgeUsed, 0
	}
	if since >= until {
		return 0
	}
	return used + t.weather.age[until] - t.weather.age[since]
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(max(len(x), 1))
}
