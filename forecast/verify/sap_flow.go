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
	f := &seasonFlow{weather: w.Slice(0, w.Hours()), zone: o.Zone, sap: sap.Usual}
	f.weather.FillGaps()
	temperature := f.weather.Col(weather.TemperatureC)
	f.gap = make([]bool, len(temperature))
	for i, t := range temperature {
		f.gap[i] = math.IsNaN(t)
	}
	if !f.weather.Bridge(weather.TemperatureC) {
		return nil, errors.New("the weather holds no temperature")
	}
	for i := range temperature {
		temperature[i] += o.WarmerK
	}
	f.weather.Complete(o.Place)
	o.Without.from(&f.weather)
	tree := trunk.NewTree(o.TreeDiameterM, trunk.Exposed(o.Canopy, math.NaN()), o.Place)
	if o.Without.PhaseChange {
		tree = trunk.NewTreeOf(o.Without.wood(o.TreeDiameterM), trunk.Exposed(o.Canopy, math.NaN()), o.Place)
	}
	state := tree.Rest(f.weather.At(weather.TemperatureC, 0))
	f.wood = make([]trunk.Hour, f.weather.Hours())
	tree.Run(&state, &f.weather, weather.Suns(&f.weather, o.Place), f.wood)
	if o.Without.Wood {
		airAlone(&f.weather, f.wood)
	}
	f.iceless = weather.NewSeries(f.weather.Start(), f.weather.Hours())
	clear(f.iceless.Col(weather.TemperatureC))
	return f, nil
}

// bore is the flow of fresh tapholes from an hour on.
func (f *seasonFlow) bore(from int) []float64 {
	flow := make([]float64, len(f.wood))
	var tap sap.State
	f.sap.Run(&tap, f.wood[:from], 0, flow[:from])
	tap.WarmHours = 0
	f.sap.Run(&tap, f.wood[from:], 0, flow[from:])
	return flow
}

// covered are the visits that lie within the weather.
func (f *seasonFlow) covered(visits []records.Visit) (within []records.Visit, dropped int) {
	for _, v := range visits {
		if v.CollectedAt.Before(f.weather.Start()) || v.CollectedAt.After(f.weather.End()) {
			dropped++
			continue
		}
		within = append(within, v)
	}
	return within, dropped
}
