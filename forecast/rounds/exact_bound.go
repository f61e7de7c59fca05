package rounds

import "math"

// bound finds the highest bound of those that put the trips' costs on visits, or on
// litres, or half on each.
func (e *exact) bound() {
	best := math.Inf(-1)
	for _, e.loads = range []float64{0, 0.5, 1} {
		var rest [][]float64
		sum := 0.0
		for a := range e.parts {
			rest = append(rest, e.restOf(a))
			sum += restAt(rest[a], len(e.starts), -1, 0)
		}
		if sum > best {
			best, e.rest = sum, rest
		}
		if e.costs.CarryL <= 0 {
			break
		}
	}
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
			c := e.at(a, i, t)
			sap := one.share * c.sapL
			if !e.someone(one, t, e.trips(sap)) {
				continue
			}
			after := restAt(rest, len(e.starts), t, t+1)
			row[t] = min(row[t], one.share*c.price+one.walkL+e.carriage(t, sap)+after)
		}
	}
	return rest
}

func restAt(rest []float64, starts, i, t int) float64 { return rest[(i+1)*(starts+1)+t] }

// carriage is a part's share of trips, no more than what all parts of a round have to
// pay together.
func (e *exact) carriage(t int, sapL float64) float64 {
	alone, byLoad := (1-e.loads)/float64(len(e.parts)), 0.0
	if e.costs.CarryL > 0 {
		byLoad = e.loads * sapL / e.costs.CarryL
	}
	for k := range e.pins {
		if e.pins[k].start == t {
			alone = 0
		}
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
	for k := range e.pins {
		if e.pins[k].start == t {
			return true
		}
	}
	return one.takes(1)+carry <= float64(first-at)+tiny || second > 0 && one.takes(2)+carry <= float64(second-at)+tiny
}

// toCome bounds what is still to come after a label.
func (e *exact) toCome(l *label, start int) float64 {
	sum := 0.0
	for a := range e.parts {
		t := start
		if int(l.last[a]) == start {
			t++
		}
		sum += restAt(e.rest[a], len(e.starts), int(l.last[a]), t)
	}
	return sum
}
