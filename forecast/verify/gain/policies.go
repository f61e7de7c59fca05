package gain

import (
	"fmt"
	"math"
	"slices"
)

// Point is a way of going round: walks of a season and what runs over, the mean of the
// draws.
type Point struct {
	Walks   float64 `json:"walks"`
	LossL   float64 `json:"loss_l"`
	SpoiltL float64 `json:"spoilt_l"` // carried in too old
	Name    string  `json:"name,omitempty"`
}

func (p *Point) add(t tally, weight float64) {
	p.Walks, p.LossL, p.SpoiltL = p.Walks+t.walks*weight, p.LossL+t.lossL*weight, p.SpoiltL+t.spoiltL*weight
}

// envelope is the lower convex hull of points, by walks: whoever mixes two ways of going
// comes to what lies between them.
func envelope(points []Point) []Point {
	sorted := slices.Clone(points)
	slices.SortFunc(sorted, func(a, b Point) int {
		switch {
		case a.Walks != b.Walks && a.Walks < b.Walks, a.Walks == b.Walks && a.LossL < b.LossL:
			return -1
		case a == b:
			return 0
		}
		return 1
	})
	var hull []Point
	for _, p := range sorted {
		if n := len(hull); n > 0 && (p.LossL >= hull[n-1].LossL || p.Walks == hull[n-1].Walks) {
			continue
		}
		for n := len(hull); n > 1; n = len(hull) {
			a, b := &hull[n-2], &hull[n-1]
			if (b.LossL-a.LossL)*(p.Walks-a.Walks) <= (p.LossL-a.LossL)*(b.Walks-a.Walks) {
				break
			}
			hull = hull[:n-1]
		}
		hull = append(hull, p)
	}
	return hull
}

// lossAt is the loss of an envelope at so many walks.
func lossAt(hull []Point, walks float64) float64 {
	for i := range hull {
		if hull[i].Walks < walks {
			continue
		}
		if i == 0 {
			return hull[0].LossL
		}
		a, b := &hull[i-1], &hull[i]
		return a.LossL + (b.LossL-a.LossL)*(walks-a.Walks)/(b.Walks-a.Walks)
	}
	return hull[len(hull)-1].LossL
}

// walksFor is with how many walks an envelope comes to a loss.
func walksFor(hull []Point, lossL float64) float64 {
	for i := range hull {
		if hull[i].LossL > lossL {
			continue
		}
		if i == 0 {
			return hull[0].Walks
		}
		a, b := &hull[i-1], &hull[i]
		return a.Walks + (b.Walks-a.Walks)*(lossL-a.LossL)/(b.LossL-a.LossL)
	}
	return hull[len(hull)-1].Walks
}

// days lists the hours of the season at an hour of the clock.
func (s *season) hoursAt(clock int) []int {
	var hours []int
	for i := s.from + 1; i < s.to; i++ {
		if s.clock[i] == clock {
			hours = append(hours, i)
		}
	}
	return hours
}

const longestHabit = 10 // days

// habits are the ways of people who look at no forecast: nobody goes, every n-th day,
// every n-th day but on the next after a look that found pails full, and the keeper's own
// days. A look counts as a walk, and who is there empties the pails. On which day a
// habit begins is chance: all of them are tried.
func (s *season) habits(draws []truth) []Point {
	at := s.hoursAt(habitHour)
	points := []Point{{Name: "nobody goes"}}
	for _, t := range draws {
		points[0].add(s.walk(t, nil), 1/float64(len(draws)))
	}
	for n := 1; n <= longestHabit; n++ {
		every, full := Point{Name: everyName(n)}, Point{Name: fullName(n)}
		for first := range n {
			var hours []int
			for k := first; k < len(at); k += n {
				hours = append(hours, at[k])
			}
			weight := 1 / float64(len(draws)*n)
			for _, t := range draws {
				every.add(s.walk(t, hours), weight)
				full.add(s.walk(t, s.whenFull(t, at, first, n)), weight)
			}
		}
		points = append(points, every)
		if n > 1 {
			points = append(points, full)
		}
	}
	if own := s.own(); len(own) > 0 {
		keeper := Point{Name: "the keeper's own days"}
		for _, t := range draws {
			keeper.add(s.walk(t, own), 1/float64(len(draws)))
		}
		points = append(points, keeper)
	}
	return points
}

// whenFull goes on the day after a look that found pails full, else every n-th.
func (s *season) whenFull(t truth, at []int, first, n int) []int {
	var hours []int
	pails := s.hang(t)
	for k := first; k < len(at); {
		hours = append(hours, at[k])
		if pails.until(at[k])*best >= s.ContainerL {
			k++
		} else {
			k += n
		}
		pails.empty()
	}
	return hours
}

// own are the hours at which the records have somebody there.
func (s *season) own() []int {
	var hours []int
	for _, v := range s.Visits {
		if h := s.weather.Index(v.CollectedAt); v.Collected() && h > s.from {
			hours = append(hours, min(h, s.to))
		}
	}
	return hours
}

// perfect is the least loss by walks of somebody who knows the draw: a dynamic program over
// the last walk, for each number of walks. Walks start on the hour. For them nothing stays
// behind as ice, so that nobody who goes can lose less.
func (s *season) perfect(t truth, most int) []tally {
	var at []int
	for i := s.from + 1; i < s.to; i++ {
		if s.clock[i] >= firstHour && s.clock[i] < eveningHour {
			at = append(at, i)
		}
	}
	n := len(at)
	losses := make([][]float64, n) // of the walk before: from now on first
	for j := range losses {
		losses[j] = make([]float64, j+1)
		losses[j][0] = s.overL(t, s.from, at[j])
		for i := range j {
			losses[j][i+1] = s.overL(t, at[i], at[j])
		}
	}
	least, next := make([]float64, n), make([]float64, n)
	out := []tally{{lossL: s.overL(t, s.from, s.to)}}
	for j := range least {
		least[j] = losses[j][0]
	}
	for k := 1; k <= most; k++ {
		best := math.Inf(1)
		for j := range least {
			best = min(best, least[j]+s.overL(t, at[j], s.to))
		}
		out = append(out, tally{walks: float64(k), lossL: min(best, out[k-1].lossL)})
		if out[k].lossL < 1e-6 {
			break
		}
		for j := range next {
			next[j] = least[j]
			for i := j - 1; i >= 0; i-- {
				l := losses[j][i+1]
				if l >= next[j] { // an earlier walk leaves no less
					break
				}
				next[j] = min(next[j], least[i]+l)
			}
		}
		least, next = next, least
	}
	return out
}

func everyName(n int) string {
	if n == 1 {
		return "every day"
	}
	return fmt.Sprintf("every %d days", n)
}

func fullName(n int) string {
	return fmt.Sprintf("every %d days, or the day after full pails", n)
}
