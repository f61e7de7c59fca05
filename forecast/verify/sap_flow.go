package verify

import (
	"errors"
	"math"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/sap"
	"thawline/forecast/trunk"
	"thawline/forecast/weather"
)

// seasonFlow is the flow of a usual tap through all hours of the weather.
type seasonFlow struct {
	weather weather.Series
	gap     []bool // hours of which the temperature was missing
	wood    []trunk.Hour
	zone    *time.Location
	sap     sap.Parameters
	iceless weather.Series // air that freezes no pail
}

func newSeasonFlow(w *weather.Series, o *SapOptions) (*seasonFlow, error) {
	strands, err := newStrands(w, o, []float64{0})
	if err != nil {
		return nil, err
	}
	return strands[0], nil
}

// newStrands is the flow for each of several offsets in K, the trees run abreast.
func newStrands(w *weather.Series, o *SapOptions, offsets []float64) ([]*seasonFlow, error) {
	filled := w.Slice(0, w.Hours())
	filled.FillGaps()
	gap := make([]bool, filled.Hours())
	for i, t := range filled.Col(weather.TemperatureC) {
		gap[i] = math.IsNaN(t)
	}
	if !filled.Bridge(weather.TemperatureC) {
		return nil, errors.New("the weather holds no temperature")
	}
	exposure := trunk.Exposed(o.Canopy, math.NaN())
	if o.Exposure != nil {
		exposure = *o.Exposure
	}
	tree := trunk.NewTree(o.TreeDiameterM, exposure, o.Place)
	if o.Without.PhaseChange {
		tree = trunk.NewTreeOf(o.Without.wood(o.TreeDiameterM), exposure, o.Place)
	}
	iceless := weather.NewSeries(filled.Start(), filled.Hours())
	clear(iceless.Col(weather.TemperatureC))
	strands := make([]*seasonFlow, len(offsets))
	var states []trunk.State
	var weathers []weather.Series
	var wood [][]trunk.Hour
	for n, k := range offsets {
		f := &seasonFlow{weather: filled.Slice(0, filled.Hours()), zone: o.Zone, sap: sap.Usual, gap: gap, iceless: iceless}
		temperature := f.weather.Col(weather.TemperatureC)
		for i := range temperature {
			temperature[i] += o.WarmerK + k
		}
		f.weather.Complete(o.Place)
		o.Without.from(&f.weather)
		f.wood = make([]trunk.Hour, f.weather.Hours())
		strands[n] = f
		states, weathers, wood = append(states, tree.Rest(temperature[0])), append(weathers, f.weather), append(wood, f.wood)
	}
	tree.RunMembers(states, weathers, weather.Suns(&filled, o.Place), wood)
	if o.Without.Wood {
		for _, f := range strands {
			airAlone(&f.weather, f.wood)
		}
	}
	return strands, nil
}

// bore is the flow of fresh tapholes from an hour on.
func (f *seasonFlow) bore(from int) []float64 {
	flow := make([]float64, len(f.wood))
	tap := sap.Begin(f.wood)
	f.sap.Run(&tap, f.wood[:from], 0, flow[:from])
	tap.WarmHours = 0
	f.sap.Run(&tap, f.wood[from:], 0, flow[from:])
	return flow
}

// covered are the visits that lie within the weather.
func covered(w *weather.Series, visits []records.Visit) (within []records.Visit, dropped int) {
	for _, v := range visits {
		if v.CollectedAt.Before(w.Start()) || v.CollectedAt.After(w.End()) {
			dropped++
			continue
		}
		within = append(within, v)
	}
	return within, dropped
}
