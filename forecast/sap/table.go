package sap

// Parameter describes one value of the model: its unit, where it comes from and
// within what bounds it may lie.
type Parameter struct {
	Name, Unit, Source string
	Low, High          float64
	of                 func(p *Parameters) *float64
}

// Value is the parameter's place in a set.
func (p Parameter) Value(in *Parameters) float64 { return *p.of(in) }

// With returns a set in which the parameter has another value.
func (p Parameter) With(in Parameters, value float64) Parameters {
	*p.of(&in) = value
	return in
}

// tapLogs are sap collected by hand from 50 pails on a hill in Massachusetts,
// 2013 and 2014 (R package macleish, CC0, Baumer et al.).
const tapLogs = "rank of visits in the tap logs of 2013 and 2014 (CC0, Baumer et al.), which does not tell it from its neighbours"

const asleep = "thawline backtest fit; visits of March 2015 in Wisconsin (a maker's public diary)"

// Table lists every parameter of the flow with its range.
var Table = []Parameter{
	{"capacity", "L", "season of a pail, about 38 L (common practice)", 5, 12, func(p *Parameters) *float64 { return &p.CapacityL }},
	{"charge per frost", "1", tapLogs, 1, 4, func(p *Parameters) *float64 { return &p.ChargePerFrost }},
	{"stem share", "1", tapLogs, 0.6, 0.9, func(p *Parameters) *float64 { return &p.StemShare }},
	{"emptying time", "h", tapLogs + "; a gravity tap runs a day or two (common practice)", 8, 28,
		func(p *Parameters) *float64 { return &p.EmptyHours }},
	{"way power", "1", tapLogs, 2, 8, func(p *Parameters) *float64 { return &p.WayPower }},
	{"vacuum pull", "1/kPa", "5 to 7 % more sap in a season for each inch of mercury (Wilmot et al. 2007, from memory)", 0.019, 0.0266,
		func(p *Parameters) *float64 { return &p.VacuumPerKPa }},
	{"weeping time", "h", "a tap under vacuum weeps on for a day or more (common practice)", 24, 96,
		func(p *Parameters) *float64 { return &p.WeepHours }},
	{"ageing half-life", "h at 0 °C", "four to six weeks at +3 °C (common practice)", 1000, 2000,
		func(p *Parameters) *float64 { return &p.AgeHalfHours }},
	{"ageing power", "1", "common practice", 2, 5, func(p *Parameters) *float64 { return &p.AgePower }},
	{"asleep share", "1", asleep, 0.1, 0.5, func(p *Parameters) *float64 { return &p.AsleepShare }},
	{"waking heat", "°C h", asleep, 150, 600, func(p *Parameters) *float64 { return &p.WakingHeat }},
}
