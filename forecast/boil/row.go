package boil

import "math"

// Vessel is one of several pans in a row, or a finishing pan or pot apart.
type Vessel struct {
	ID string
	Pan
	DepthM    float64 // kept in it while it boils; 0 for UsualDepthM
	HoldBackM float64 // below which it must not fall while there is fire; 0 for UsualHoldBackM
}

// Row is pans in the order in which sap goes through them.
type Row []Vessel

// Depths to boil at, and to hold back so that a fire that dies slowly does not scorch what
// is left: 1.5 inches and one inch (common practice).
const (
	UsualDepthM    = 0.0381
	UsualHoldBackM = 0.0254
)

// MoveOnBrix is where syrup goes over to a finishing pan or pot that stands apart, so that
// the fire of the row need not be watched for the last minutes (common practice).
const MoveOnBrix = 55.0

// FoamShare is how much of a sugar pot syrup may fill: foam needs the rest (common
// practice).
const FoamShare = 1.0 / 3

// depth is how deep it boils, m; hold is how deep it must stay while there is fire.
func (v *Vessel) depth() float64 { return orUsual(v.DepthM, max(UsualDepthM, 1.2*v.HoldBackM)) }
func (v *Vessel) hold() float64  { return orUsual(v.HoldBackM, min(UsualHoldBackM, v.depth()*2/3)) }

func orUsual(given, usual float64) float64 {
	if given > 0 {
		return given
	}
	return usual
}

// HoldsL is what is in it while it boils, litres.
func (v *Vessel) HoldsL() float64 { return 1000 * v.AreaM2 * v.depth() }

// HoldBackL is what must be left in it until the fire is out, litres.
func (v *Vessel) HoldBackL() float64 { return 1000 * v.AreaM2 * v.hold() }

// Together is the row as one pan: rates and areas add. Its kind and fuel are those of the
// pan that boils most away.
func (r Row) Together() Pan {
	var all Pan
	most := 0.0
	for i := range r {
		q := r[i].Rate()
		all.RateLH, all.AreaM2 = all.RateLH+q, all.AreaM2+r[i].AreaM2
		if q > most {
			most, all.Kind, all.Fuel = q, r[i].Kind, r[i].Fuel
		}
	}
	return all
}

// HoldsL and HoldBackL are those of all pans.
func (r Row) HoldsL() float64 { return r.sum((*Vessel).HoldsL) }

// HoldBackL is what must be left in all pans until the fire is out, litres.
func (r Row) HoldBackL() float64 { return r.sum((*Vessel).HoldBackL) }

func (r Row) sum(of func(*Vessel) float64) (litres float64) {
	for i := range r {
		litres += of(&r[i])
	}
	return litres
}

// Burnt is the fuel for water that goes up of the row, and of a finishing pan apart its
// part: cords of wood and litres of gas. apart is nil without one.
func (r Row) Burnt(waterKg, syrupKg, syrupBrix float64, apart *Vessel) (cords, gasL float64) {
	add := func(v *Vessel, kg float64) {
		heat := kg * HeatKJKg / 1000 / efficiency[kindOr(v.Kind)][fuelOr(v.Fuel)]
		if fuelOr(v.Fuel) == Gas {
			gasL += heat / propaneMJ
		} else {
			cords += heat / cordMJ * woodShare(v.WoodShare)
		}
	}
	if apart != nil {
		last := min(syrupKg*max(syrupBrix/MoveOnBrix-1, 0), waterKg)
		add(apart, last)
		waterKg -= last
	}
	all := r.Together().Rate()
	for i := range r {
		add(&r[i], waterKg*r[i].Rate()/all)
	}
	return cords, gasL
}

// Stand is a pan of a row while the whole boils steadily.
type Stand struct {
	ID      string
	Brix    float64
	BoilsC  float64
	MoveOnL float64 // to the next, or of the last: draws off
	HoldL   float64 // to leave in it until the fire is out
}

// Flow is a row that boils steadily.
type Flow struct {
	Pans     []Stand
	EveryMin float64 // from one draw-off, and moving on of all pans, to the next
	FeedLH   float64 // sap that goes in
}

// Steady says how sap goes through a row: what sugar each pan comes to, where it boils, and
// how much is moved on when. A draw-off takes what the last pan holds above the level to
// hold back. Sugar in per cent, pressure in hPa; to is the sugar at which the last pan is
// drawn off. It is empty for figures that no row has.
func (r Row) Steady(sapBrix, to, pressureHPa float64) Flow {
	if len(r) == 0 || !(sapBrix > 0) || !(to > sapBrix) {
		return Flow{}
	}
	water := r.Together().Rate() * DensityKgL(0) // kg/h
	feed := water / (1 - sapBrix/to)
	last := &r[len(r)-1]
	draws := math.Max(last.HoldsL()-last.HoldBackL(), 0) * DensityKgL(to)
	f := Flow{FeedLH: feed / DensityKgL(sapBrix), EveryMin: draws / (feed * sapBrix / to) * 60}
	out := feed
	for i := range r {
		out -= r[i].Rate() * DensityKgL(0)
		brix := feed * sapBrix / out
		f.Pans = append(f.Pans, Stand{ID: r[i].ID, Brix: brix, BoilsC: SyrupBoilsC(pressureHPa, brix),
			MoveOnL: out * f.EveryMin / 60 / DensityKgL(brix), HoldL: r[i].HoldBackL()})
	}
	return f
}

// Learnt is the row as fires show it: those of one pan teach that pan, by its id; those of
// all, under "", teach every pan alike.
func (r Row) Learnt(fires map[string][]Fired) Row {
	out := append(Row{}, r...)
	for i := range out {
		out[i].Pan = out[i].Learnt(fires[out[i].ID])
	}
	if len(fires[""]) == 0 {
		return out
	}
	before := out.Together()
	after := before.Learnt(fires[""])
	for i := range out {
		out[i].RateLH = out[i].Rate() * after.Rate() / before.Rate()
		out[i].WoodShare = woodShare(out[i].WoodShare) * woodShare(after.WoodShare)
	}
	return out
}

// How far, in the logarithm, the syrup of one boil lies from what its sap held, by the sugar
// that nobody measured and by what stays in filter and pan, and how much is lost as a rule
// (common practice).
const (
	lostSD, lostEachSD = 0.05, 0.15
	mostLost           = 0.25
)

// Lost is the share of syrup that does not come out of the pan, as boils show it that gave
// so much of what their sap held: 0 without any.
func Lost(gaveOfHeld []float64) float64 {
	sum, n := 0.0, 0
	for _, x := range gaveOfHeld {
		if x > 0 {
			sum, n = sum+min(max(math.Log(x), -0.5), 0.5), n+1
		}
	}
	each := 1 / (lostEachSD * lostEachSD)
	mean := sum * each / (float64(n)*each + 1/(lostSD*lostSD))
	return min(max(1-math.Exp(mean), 0), mostLost)
}
