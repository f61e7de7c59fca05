package rounds

import (
	"math"
	"slices"
)

// between is what a group has to expect from one visit to the next.
type between struct {
	price float64 // lossL, late by overRiskL, and iceL
	iceL  float64 // what ice that the next visit leaves counts for; 0 at the plan's end
	late  float64 // tap-hours at more than the accepted risk, by what it is beyond that
	lossL float64 // mean of the draws: run over, burst or spoilt
	sapL  float64 // mean of the draws: what the next visit carries away
	risk  float64 // chance that it runs over
}

// pairTable knows what one group has to expect between any two starts; that
// depends on nothing else. The risk is known from the beginning, losses are worked out as
// far as they are asked for. Start -1 is now, and the one after the last the plan's end.
type pairTable struct {
	group      *TapGroup
	weather    *planWeather
	accepted   float64
	hours      []int  // by start, shifted by one, and end
	rows       []row  // by the first of two starts, shifted by one
	cells      []cell // of one row after the other
	worked     []*[32]between
	count      int         // of those worked out
	ran        [][]float64 // by start and end, and draw: litres a tap since the plan's start
	mean       []float64   // by start and end: mean of ran
	meanBefore []float64   // by start, shifted by one: mean of before
	atFreeze   [][]float64 // by draw and hard freeze of its member: as ran; none where they do no harm
	overNow    []float64   // by draw: had run over before now
	iced       [][]float64 // as ran: what of that is ice, if nobody has been there since now
	iceL       []float64   // by start and end: mean of iced
	first      []int       // by start, shifted by one: the hour in which sap is first caught
	fifth      float64     // of the taps
	safeL      float64     // a tap, below which nothing runs over and no freeze does harm
	fullL      float64     // a tap, beyond which something runs over
}

// row is what follows one start.
type row struct {
	safe int32 // from this start on it is not certain that nothing is lost but by age
	late int32 // from this start on the risk is beyond the accepted one
	from int32 // where its cells begin, with that of the next start
}

// cell is what is known of two starts from the beginning: small, since there are thousands
// for each group, and fewer than one in ten is worked out where there are many groups.
type cell struct {
	over   uint16 // draws that run over
	worked uint16 // its place among those worked out, from 1; 0 if it is not
	late   uint32 // from the row's late start on: draw-hours by those that run over
}

const (
	// hardFreezeC bends and bursts full containers, bulgeShare is how full they
	// may be then (common practice).
	hardFreezeC = -8.0
	bulgeShare  = 0.85
	// notWorthL a tap is too little to count as hanging (common practice).
	notWorthL = 0.1
	// someL an hour and tap is a flow that is caught.
	someL   = 0.005
	littleL = 1e-9
)

// planWeather is what the air means for sap in containers.
type planWeather struct {
	hours   int
	maxAge  float64
	freezes [][]int   // by member: hours in which a hard freeze sets in
	frozen  [][]uint8 // by member and hour: how many of them are over
	age     []float64 // life used up by each hour, mean air
	meltsL  []float64 // of a pail's ice in each hour, mean air; below zero what freezes
}

func weatherOf(req *PlanRequest) *planWeather {
	w := &planWeather{maxAge: req.Costs.MaxAge}
	for g := range req.Groups {
		for _, flow := range req.Groups[g].FlowL {
			w.hours = max(w.hours, len(flow))
		}
	}
	w.freezes, w.frozen = make([][]int, len(req.AirC)), make([][]uint8, len(req.AirC))
	for k, air := range req.AirC {
		w.frozen[k] = make([]uint8, w.hours+1)
		for h := range w.hours {
			w.frozen[k][h] = uint8(len(w.freezes[k]))
			if h > 0 && h < len(air) && air[h] <= hardFreezeC && air[h-1] > hardFreezeC {
				w.freezes[k] = append(w.freezes[k], h)
			}
		}
		w.frozen[k][w.hours] = uint8(len(w.freezes[k]))
	}
	w.age, w.meltsL = make([]float64, w.hours+1), make([]float64, w.hours)
	for h := range w.hours {
		sum, n := 0.0, 0.0
		for _, air := range req.AirC {
			if h < len(air) {
				sum, n = sum+air[h], n+1
			}
		}
		c := sum / max(n, 1)
		w.age[h+1] = w.age[h] + LifePerHour(c, PailHygiene)
		w.meltsL[h] = Melts(c)
	}
	return w
}

// scratch is space for numbers that one table after the other is made in.
type scratch struct {
	all  []float64
	used int
}

// cut is space for so many numbers, all 0.
func (s *scratch) cut(n int) []float64 {
	if s.used+n > len(s.all) {
		s.all, s.used = make([]float64, 4*n), 0
	}
	out := s.all[s.used : s.used+n : s.used+n]
	s.used += n
	clear(out)
	return out
}

// tableOf prepares the table of a group. The starts are hours and rise; several may
// lie in one hour.
func tableOf(group *TapGroup, w *planWeather, accepted float64, starts []int, space *scratch) *pairTable {
	space.used = 0
	n, draws := len(starts), len(group.FlowL)
	t := &pairTable{group: group, weather: w, accepted: accepted, rows: make([]row, n+1), hours: make([]int, n+2)}
	for j, h := range starts {
		t.hours[j+1] = min(h, w.hours)
	}
	t.hours[n+1] = w.hours
	t.measure()
	t.ran, t.iced, t.overNow, t.iceL = grid(n+1, draws), grid(n+1, draws), make([]float64, draws), make([]float64, n+1)
	t.cells = make([]cell, (n+1)*(n+2)/2)
	never := int32(n + 1)
	for k, from := 0, 0; k <= n; from, k = from+n+1-k, k+1 {
		t.rows[k] = row{safe: never, late: never, from: int32(from)}
	}
	if len(w.freezes) > 0 && group.TankL <= 0 {
		t.atFreeze = make([][]float64, draws)
	}
	flows, sums, ran, before := space.cut(w.hours), space.cut(w.hours+1), space.cut(n+1), space.cut(n+1)
	melts := t.melts()
	for d, flow := range group.FlowL {
		sum := 0.0
		for h, q := range flow {
			sum += q
			sums[h+1] = sum
			flows[h] += q
		}
		for h := len(flow); h < w.hours; h++ {
			sums[h+1] = sum
		}
		for j, h := range t.hours[1:] {
			ran[j], t.ran[j][d] = sums[h], sums[h]
		}
		t.freeze(d, sums, melts)
		t.overNow[d] = t.group.over(group.HeldL[d])
		for i := range before {
			before[i] = t.before(i-1, d)
		}
		for j := range ran {
			t.iceL[j] += t.iced[j][d] / float64(draws)
		}
		t.fillUp(d, ran, before)
		if t.atFreeze != nil {
			freezes := w.freezes[t.member(d)]
			t.atFreeze[d] = make([]float64, len(freezes))
			for k, h := range freezes {
				t.atFreeze[d][k] = sums[h]
			}
		}
	}
	t.sumUp(flows)
	return t
}

// melts is how much ice melts in each hour at a tap, or freezes where it is below zero.
func (t *pairTable) melts() []float64 {
	share := MeltShare(t.group.TankL, t.group.Taps)
	if share == 1 {
		return t.weather.meltsL
	}
	out := slices.Clone(t.weather.meltsL)
	for h := range out {
		out[h] *= share
	}
	return out
}

// freeze finds what is ice at a tap of a draw by each start and the end: no more than has
// come by then, nor than does containers no harm: what has run over is no ice.
func (t *pairTable) freeze(d int, ranL, meltsL []float64) {
	held, most := t.group.HeldL[d], t.safeL*(1-littleL)
	ice, h := 0.0, 0
	if len(t.group.IceL) > 0 {
		ice = min(t.group.IceL[d], held, most)
	}
	for j := range t.iced {
		for ; h < t.hours[j+1]; h++ {
			ice = max(min(ice-meltsL[h], held+ranL[h+1], most), 0)
		}
		t.iced[j][d] = ice
	}
}

// before is what a tap of a draw had given by a start, less what is still in its container
// after a visit: what hangs now, or later its ice.
func (t *pairTable) before(i, d int) float64 {
	if i < 0 {
		return -t.group.HeldL[d]
	}
	return t.ran[i][d] - t.iced[i][d]
}

// member is the member of the weather that a draw is of.
func (t *pairTable) member(draw int) int { return draw * len(t.weather.freezes) / len(t.group.FlowL) }

func grid(rows, columns int) [][]float64 {
	slab, out := make([]float64, rows*columns), make([][]float64, rows)
	for k := range out {
		out[k] = slab[k*columns : (k+1)*columns]
	}
	return out
}

// measure finds how full containers may be.
func (t *pairTable) measure() {
	l := t.group
	t.safeL, t.fullL, t.fifth = math.Inf(1), math.Inf(1), float64(l.Taps)/float64(len(tapSpread))
	best := tapSpread[len(tapSpread)-1]
	switch {
	case l.TankL > 0:
		t.safeL, t.fullL = l.TankL/float64(l.Taps), (l.TankL+littleL)/float64(l.Taps)
	case l.ContainerL > 0:
		t.safeL, t.fullL = bulgeShare*l.ContainerL/best, (l.ContainerL+littleL/t.fifth)/best
	}
}

// fillUp finds when a draw runs over after each start: the later the start, the later it
// does, but where ice stays behind that was none before.
func (t *pairTable) fillUp(d int, ran, before []float64) {
	safe, full, safeL, fullL := 0, 0, t.safeL, t.fullL
	for i, b := range before {
		for ; safe > i && ran[safe-1]-b > safeL; safe-- {
		}
		for safe = max(safe, i); safe < len(ran) && ran[safe]-b <= safeL; safe++ {
		}
		if safe == len(ran) {
			continue
		}
		r := &t.rows[i]
		r.safe = min(r.safe, int32(safe))
		for ; full > safe && ran[full-1]-b > fullL; full-- {
		}
		for full = max(full, safe); full < len(ran) && ran[full]-b <= fullL; full++ {
		}
		j := full
		if already := t.overNow[d]; i == 0 && already > 0 { // more than that, which nobody brings back
			for j < len(ran) && t.group.over(ran[j]-b) <= already+notWorthL*float64(t.group.Taps) {
				j++
			}
		}
		if j < len(ran) {
			t.cells[int(r.from)+j-i].over++
		}
	}
}

// sumUp prepares the rows once all draws are there.
func (t *pairTable) sumUp(flowL []float64) {
	n, draws := len(t.rows)-1, float64(max(len(t.group.FlowL), 1))
	t.first, t.mean, t.meanBefore = make([]int, n+1), make([]float64, n+1), make([]float64, n+1)
	for k := range t.rows {
		h := t.hour(k - 1)
		for h < t.weather.hours && flowL[h] < someL*draws {
			h++
		}
		t.first[k], t.mean[k] = h, mean(t.ran[k])
		if t.meanBefore[k] = -mean(t.group.HeldL); k > 0 {
			t.meanBefore[k] = t.mean[k-1] - t.iceL[k-1]
		}
		r, over, late := &t.rows[k], uint16(0), uint32(0)
		for j := k; j <= n; j++ {
			c := &t.cells[int(r.from)+j-k]
			over += c.over
			c.over = over
			if float64(over)/draws > t.accepted {
				r.late = min(r.late, int32(j))
				late += uint32(t.hour(j)-t.hour(j-1)) * uint32(over)
			}
			c.late = late
		}
	}
}

func (t *pairTable) hour(start int) int { return t.hours[start+1] }

// at is what lies between starts i and j.
func (t *pairTable) at(i, j int) *between {
	c := &t.cells[int(t.rows[i+1].from)+j-i-1]
	if c.worked > 0 {
		n := c.worked - 1
		return &t.worked[n/32][n%32]
	}
	if t.count == math.MaxUint16 { // hundreds of starts: those beyond are worked out each time
		b := new(between)
		t.workOut(b, c, i, j)
		return b
	}
	if t.count%32 == 0 {
		t.worked = append(t.worked, new([32]between))
	}
	b := &t.worked[t.count/32][t.count%32]
	t.count++
	c.worked = uint16(t.count)
	t.workOut(b, c, i, j)
	return b
}

// atLeast is a price that the one between starts i and j is not below, found with less
// work.
func (t *pairTable) atLeast(i, j int) float64 {
	c := &t.cells[int(t.rows[i+1].from)+j-i-1]
	if c.worked == 0 {
		return overRiskL * t.late(c, i, j)
	}
	n := c.worked - 1
	return t.worked[n/32][n%32].price
}

// late is how many tap-hours the risk is beyond the accepted one, each by how far.
func (t *pairTable) late(c *cell, i, j int) float64 {
	if c.late == 0 {
		return 0
	}
	hours := t.hour(j) - t.hour(int(t.rows[i+1].late)-1)
	return float64(t.group.Taps) * (float64(c.late)/float64(len(t.group.FlowL)) - t.accepted*float64(hours))
}

// workOut finds what is lost.
func (t *pairTable) workOut(b *between, c *cell, i, j int) {
	b.risk, b.late = float64(c.over)/float64(max(len(t.group.FlowL), 1)), t.late(c, i, j)
	safe, taps := j < int(t.rows[i+1].safe), float64(t.group.Taps)
	switch spoils := t.spoils(i, j); {
	case spoils && safe:
		b.lossL = taps * (t.mean[j] - t.meanBefore[i+1])
	case spoils:
		b.lossL = t.whole(i, j)
	default:
		over := 0.0
		if !safe {
			over, b.lossL = t.lost(i, j)
		}
		b.sapL = max(taps*(t.mean[j]-t.meanBefore[i+1]-t.iceL[j])-over, 0)
	}
	if j < len(t.rows)-1 {
		b.iceL = leftIceL * taps * t.iceL[j]
	}
	b.price = b.lossL + overRiskL*b.late + b.iceL
}

// lost is what has run over between two starts, and what of it, or else of containers
// that burst, was not lost before; means of the draws.
func (t *pairTable) lost(i, j int) (over, lost float64) {
	draws := len(t.group.FlowL)
	now, overNow := t.ran[j][:draws], t.overNow[:draws]
	from, until := t.hour(i), t.hour(j)
	for d := range draws {
		before := t.before(i, d)
		held := now[d] - before
		if held <= t.safeL {
			continue
		}
		out := t.group.over(held)
		over += out
		if i < 0 {
			out = max(out-overNow[d], 0)
		}
		if t.atFreeze != nil {
			out = max(out, t.bursts(d, from, until, before))
		}
		lost += out
	}
	n := float64(draws)
	return over / n, lost / n
}

// whole is all that the group gives between two starts and has held since before,
// litres, what had run over before now left out.
func (t *pairTable) whole(i, j int) float64 {
	sum := 0.0
	for d, ran := range t.ran[j] {
		lost := (ran - t.before(i, d)) * float64(t.group.Taps)
		if i < 0 {
			lost -= t.overNow[d]
		}
		sum += max(lost, 0)
	}
	return sum / float64(max(len(t.group.FlowL), 1))
}

// bursts is what the last hard freeze between two hours costs of containers that are too
// full for it: by then more hangs in them than at those before.
func (t *pairTable) bursts(d, from, until int, before float64) float64 {
	member := t.member(d)
	k := int(t.weather.frozen[member][until]) - 1
	if k < 0 || t.weather.freezes[member][k] <= from {
		return 0
	}
	held, fullL, lost := t.atFreeze[d][k]-before, t.group.ContainerL, 0.0
	for n := len(tapSpread) - 1; n >= 0; n-- {
		in := tapSpread[n] * held
		if in <= bulgeShare*fullL {
			break
		}
		lost += min(in, fullL)
	}
	return lost * t.fifth
}

// spoils says whether the oldest sap in the containers is too old by an hour.
func (t *pairTable) spoils(i, j int) bool {
	return t.weather.maxAge > 0 && t.aged(i, j) > t.weather.maxAge
}

// aged is the share of its life that the oldest sap in the containers has used up by a
// start, since another; 0 where there is none. A visit that left more ice than it took changes nothing.
func (t *pairTable) aged(i, j int) float64 {
	age, until := t.weather.age, t.hour(j)
	if i < 0 && until > 0 && mean(t.group.HeldL) > notWorthL {
		return t.group.AgeUsed + age[until]
	}
	if i >= 0 && t.iceL[i] > max((mean(t.group.HeldL)+t.mean[i])/2, notWorthL) {
		return t.aged(-1, j)
	}
	if first := t.first[i+1]; first < until {
		return age[until] - age[first]
	}
	return 0
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(max(len(x), 1))
}
