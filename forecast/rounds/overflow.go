// Package rounds follows what stands in pails, bags and tanks until somebody
// gathers it.
package rounds

import (
	"slices"
	"time"
)

// Fill is how one group of taps fills its containers from a known moment on.
type Fill struct {
	Taps       int
	ContainerL float64 // at each tap; 0 where the taps share a tank
	TankL      float64 // shared by the group; 0 where each tap has its own
	Start      time.Time
	// FlowL holds, for each draw of the future, litres an hour and tap.
	FlowL [][]float64
	// HeldL is what a tap has given since it was last emptied, by draw.
	HeldL []float64
}

// Load is how one group of taps fills, for the plan.
type Load struct {
	Fill
	// IceL is what of HeldL is ice, by draw: it stays behind until it has melted. Empty
	// where none is.
	IceL    []float64
	AgeUsed float64 // share of its life that the sap in the containers has used up
}

// Overflow is what runs over if nobody gathers.
type Overflow struct {
	Probability float64
	ExpectedAt  time.Time // zero where no draw overflows; else the median of those that do
	LossL       float64   // mean of all draws
}

// tapSpread is how unlike the taps of one group are: their shares of the mean,
// a fifth of them each. Trees keep their rank, and the best give about three
// times what the worst give (log-normal, standard deviation 0.4; common
// practice).
var tapSpread = [5]float64{0.56, 0.76, 0.95, 1.19, 1.54}

// Overflows finds when containers run over. With a container at each tap, the
// group overflows once one pail in five does; with a shared tank, once the tank
// does.
func (f Fill) Overflows() Overflow {
	var first []int // hour in which a draw overflows
	var loss float64
	for d, flow := range f.FlowL {
		held := f.HeldL[d]
		at := -1
		for h, q := range flow {
			held += q
			if at < 0 && f.runsOver(held) {
				at = h
			}
		}
		loss += f.over(held) - f.over(f.HeldL[d])
		if at >= 0 {
			first = append(first, at)
		}
	}
	draws := len(f.FlowL)
	if draws == 0 {
		return Overflow{}
	}
	o := Overflow{Probability: float64(len(first)) / float64(draws), LossL: loss / float64(draws)}
	if len(first) == 0 {
		return o
	}
	slices.Sort(first)
	o.ExpectedAt = f.hour(first[len(first)/2])
	return o
}

// Held is how many litres the group's containers hold once each tap has given
// this much on average.
func (f Fill) Held(perTapL float64) float64 { return perTapL*float64(f.Taps) - f.over(perTapL) }

// Gave is how many litres all taps gave whose containers hold so much in all: more than
// that where the best have run over, and of full containers the least that it may be.
func (f Fill) Gave(heldL float64) float64 {
	taps := float64(f.Taps)
	if f.TankL > 0 || f.ContainerL <= 0 {
		return heldL
	}
	const fifths = len(tapSpread)
	rest, full := float64(fifths), 0.0 // the shares of those that are not full
	for k := fifths - 1; ; k-- {
		perTap := (float64(fifths)*heldL/taps - full*f.ContainerL) / rest
		if k == 0 || perTap*tapSpread[k] <= f.ContainerL {
			return perTap * taps
		}
		rest -= tapSpread[k]
		full++
	}
}

// over is how many litres of the group lie beyond its containers once each tap
// has given this much on average.
func (f *Fill) over(perTapL float64) float64 {
	if f.TankL > 0 {
		return max(perTapL*float64(f.Taps)-f.TankL, 0)
	}
	if f.ContainerL <= 0 {
		return 0
	}
	sum := 0.0
	for k := len(tapSpread) - 1; k >= 0; k-- { // the best taps run over first
		x := tapSpread[k]*perTapL - f.ContainerL
		if x <= 0 {
			break
		}
		sum += x
	}
	return sum * (float64(f.Taps) / float64(len(tapSpread)))
}

// runsOver reports whether anything of the group lies beyond its containers.
func (f Fill) runsOver(perTapL float64) bool {
	if f.TankL > 0 {
		return perTapL*float64(f.Taps) > f.TankL
	}
	return f.ContainerL > 0 && perTapL*tapSpread[len(tapSpread)-1] > f.ContainerL
}

func (f Fill) hour(i int) time.Time { return f.Start.Add(time.Duration(i) * time.Hour) }
