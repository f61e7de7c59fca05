package rounds

import (
	"math"
	"slices"
)

// boundSteps is how often the bound's shares are moved, boundStep by how much the first
// time, as a logarithm.
const (
	boundSteps = 12
	boundStep  = 1.5
)

// bound finds the highest bound of those that put the trips' costs on visits, or on
// litres, or half on each; then it moves them towards the parts that would go alone if
// need be, since those that stay at home pay nothing.
func (e *exact) bound() {
	shares := make([][]float64, len(e.starts))
	for t := range shares {
		shares[t] = make([]float64, len(e.parts))
		for a := range e.parts {
			shares[t][a] = 1 / float64(len(e.parts))
		}
	}
	e.shares = shares
	best, loads := math.Inf(-1), 0.0
	for _, e.loads = range []float64{0, 0.5, 1} {
		if rest := e.allRests(); e.atFirst(rest) > best {
			best, loads, e.rest = e.atFirst(rest), e.loads, rest
		}
	}
	e.loads = loads
	kept, last := shares, e.rest
	for n := range boundSteps {
		e.shares = e.moved(last, boundStep/float64(n+1))
		last = e.allRests()
		if sum := e.atFirst(last); sum > best {
			best, kept, e.rest = sum, e.shares, last
		}
	}
	e.shares = kept
}

func (e *exact) allRests() [][]float64 {
	rest := make([][]float64, len(e.parts))
	for a := range rest {
		rest[a] = e.restOf(a)
	}
	return rest
}

// atFirst bounds the whole.
func (e *exact) atFirst(rest [][]float64) float64 {
	sum := 0.0
	for a := range rest {
		sum += rest[a][0]
	}
	return sum
}

// moved are shares that are moved to the parts that the bound sees visited.
func (e *exact) moved(rest [][]float64, by float64) [][]float64 {
	n := len(e.starts)
	out := make([][]float64, n)
	for t := range out {
		out[t] = slices.Clone(e.shares[t])
	}
	for a, r := range rest {
		for i, t := -1, 0; t < n; t++ {
			row := r[(i+1)*(n+1):]
			if row[t] < row[t+1] {
				out[t][a] *= math.Exp(by)
				i = t
			}
		}
	}
	for _, row := range out {
		sum := 0.0
		for _, x := range row {
			sum += x
		}
		for a := range row {
			row[a] /= sum
		}
	}
	return out
}

// restOf bounds what a part costs from a last visit on, if it is next visited at a
// start or later: as if it had everybody for itself.
func (e *exact) restOf(a int) []float64 {
	n := len(e.starts)
	rest := make([]float64, (n+1)*(n+1))
	one := &e.parts[a]
	for i := n - 1; i >= -1; i-- {
		row := rest[(i+1)*(n+1) : (i+2)*(n+1)]
		row[n] = one.share * e.at(a, i, n).price
		for t := n - 1; t > i; t-- {
			row[t] = row[t+1]
			after := one.walkL + rest[(t+1)*(n+1)+t+1]
			if one.share*e.atLeast(a, i, t)+after >= row[t] {
				continue
			}
			c := e.at(a, i, t)
			sap := one.share * c.sapL
			if cost := one.share*c.price + after + e.carriage(a, t, sap); cost < row[t] && e.someone(one, t, e.trips(sap)) {
				row[t] = cost
			}
		}
	}
	return rest
}

func (e *exact) restAt(a, i, t int) float64 {
	return e.rest[a][(i+1)*(len(e.starts)+1)+t]
}

// carriage is a part's share of trips, no more than what all parts of a round have to
// pay together.
func (e *exact) carriage(a, t int, sapL float64) float64 {
	alone, byLoad := (1-e.loads)*e.shares[t][a], 0.0
	if e.costs.CarryL > 0 {
		byLoad = e.loads * sapL / e.costs.CarryL
	}
	if e.pinsAt(t) > 0 {
		alone = 0
	}
	return e.costs.TripWorthL * (alone + byLoad)
}

func (e *exact) someone(one *part, t, trips int) bool {
	carry := e.costs.TripMinutes * float64(trips)
	first, second := 0, 0
	for h := range e.helpers {
		if e.canStart(h, t) {
			till := e.helpers[h].till[t]
			second = max(second, min(first, till))
			first = max(first, till)
		}
	}
	at := e.starts[t]
	return e.pinsAt(t) > 0 || at+minutesOf(one.takes(1)+carry) <= first || at+minutesOf(one.takes(2)+carry) <= second
}

// toCome bounds what is still to come after a label from a start on.
func (e *exact) toCome(l *label, start int) float64 {
	sum := 0.0
	for a := range e.parts {
		i := int(l.last[a])
		sum += e.restAt(a, i, max(start, i+1))
	}
	return sum
}
