package forecast

import (
	"time"

	"thawline/forecast/records"
	"thawline/forecast/rounds"
)

// levelOf is what somebody last saw of how full a group's containers are, since they were
// emptied; nil where nobody has said.
func (in *Inputs) levelOf(group string, emptied time.Time) *records.Observation {
	var last *records.Observation
	for i := range in.Observed {
		o := &in.Observed[i]
		if _, level := o.Kind.Level(); !level || !in.sees(o) || o.Group != "" && o.Group != group || !o.At.After(emptied) {
			continue
		}
		if last == nil || o.At.After(last.At) {
			last = o
		}
	}
	return last
}

// tellLevel makes a group's draws, every so many of them, agree with what somebody saw of
// its containers.
func (in *Inputs) tellLevel(l *rounds.Load, g int, flow *groupFlow, y *yields, every int) {
	o := in.levelOf(in.Site.Groups[g].ID, y.now[g].Since)
	if o == nil {
		return
	}
	share, _ := o.Kind.Level()
	since := make([]float64, len(l.HeldL))
	for i := range since {
		d := i * every
		past := flow.strands[flow.of[d/drawsPerMember]]
		back := int(l.Start.Sub(o.At).Hours() + 0.5)
		for _, q := range past[max(len(past)-back, 0):] {
			since[i] += q * y.draws[g][d][0]
		}
	}
	l.Tell(share, since)
}

// A word is asked for where it would decide: the chance that containers run over within
// three days lies between askFrom and askTo, and four draws in five leave open more than a
// quarter of what they hold; not again within a day of the last.
const (
	askFrom  = 0.15
	askTo    = 0.85
	askEvery = 20 * time.Hour
)

// asks reports whether somebody should look how full a group's containers are.
func (in *Inputs) asks(one *GroupWork) bool {
	if one.CapacityL == nil || one.HeldL.P90-one.HeldL.P10 < *one.CapacityL/4 || one.AloneProbability < askFrom ||
		one.AloneProbability > askTo {
		return false
	}
	since := time.Time{}
	if one.SinceVisit != nil {
		since = *one.SinceVisit
	}
	last := in.levelOf(one.Group, since)
	return last == nil || in.Now.Sub(last.At) >= askEvery
}
