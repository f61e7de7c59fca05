package forecast

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/trunk"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// crps is that of sorted draws, all alike.
func crps(draws []float64, truth float64) float64 {
	sum := 0.0
	n := float64(len(draws))
	for i, x := range draws {
		at := (float64(i) + 0.5) / n
		below := 0.0
		if truth < x {
			below = 1
		}
		sum += 2 / n * (below - at) * (x - truth)
	}
	return sum
}

// afternoon is what a usual tap gives from now until eight in the evening, litres, by each
// member, sorted.
func (p *Prospect) afternoon(hours int) []float64 {
	var out []float64
	for _, f := range p.strands.flow[0].futures {
		sum := 0.0
		for _, q := range f[:hours] {
			sum += q
		}
		out = append(out, sum)
	}
	slices.Sort(out)
	return out
}

// In an invented world, of towns' springs, bushes off their grid by up to 2 K and air that
// strays by 1.2 K over six hours, "not dripping" at noon, where it was anybody's guess,
// makes that afternoon's volume much better known.
func TestAWordAtNoonHelpsThatAfternoon(t *testing.T) {
	file := beside.Open(t, "data/madison-daily-1990-2020.csv")
	daily, err := weather.ReadDailyCSV(file, file.Name())
	if err != nil {
		t.Fatal(err)
	}
	daily.FillGaps()
	site := bush(t)
	site.Exposure = trunk.Exposed(trunk.Closed, math.NaN())
	site.Place = weather.Place{LatitudeDeg: 44.15, LongitudeDeg: -87.72, ElevationM: 200}
	if site.Zone, err = time.LoadLocation("America/Chicago"); err != nil {
		t.Fatal(err)
	}
	hours := daily.Hourly(site.Place)
	rng := rand.New(rand.NewPCG(1, 2))
	type score struct{ before, after, n float64 }
	var dry, wet score
	for range 150 {
		year := 1991 + rng.IntN(30)
		offset := 4*rng.Float64() - 2
		day := time.Date(year, 3, 1+rng.IntN(35), 12, 0, 0, 0, site.Zone)
		course := hours.Between(time.Date(year, 1, 15, 0, 0, 0, 0, site.Zone), day.AddDate(0, 0, 6))
		site.Groups[0].Tapped = time.Date(year, 2, 15, 12, 0, 0, 0, site.Zone)
		air := course.Slice(0, course.Hours())
		stray, keep := 1.2*rng.NormFloat64(), math.Exp(-1.0/6)
		temperature := air.Col(weather.TemperatureC)
		for i := range temperature {
			temperature[i] += stray
			stray = keep*stray + 1.2*math.Sqrt(1-keep*keep)*rng.NormFloat64()
		}
		b := weather.Bulletin{Source: "town", IssuedAt: day.Add(-6 * time.Hour), Course: course, ElevationM: math.NaN()}
		now := day.Add(5 * time.Minute)
		in := Inputs{Site: site, Bulletin: b, Now: now, Seed: rng.Uint64()}
		truthIn := in
		truthIn.Bulletin.Course = air
		e, err := weather.Assemble(&truthIn.Bulletin, site.Place, day.AddDate(0, 0, 2), 1)
		if err != nil {
			t.Fatal(err)
		}
		truth := followPast(&site, &e, []float64{offset})
		plain, err := Foresee(in)
		if err != nil {
			t.Fatal(err)
		}
		chance := 0.0
		for n, q := range plain.strands.flowAt(&site, "", day) {
			chance += plain.bush.Weights()[n] * volume.DripChance(q)
		}
		flow := truth.flow[0].strands[0]
		at := e.Past.Index(day)
		if chance < 0.1 || chance > 0.9 {
			continue
		}
		kind := records.NotDripping
		if flow[at] > volume.DripLH {
			kind = records.Dripping
		}
		in.Observed = []records.Observation{{Kind: kind, At: day, Day: day.Format(time.DateOnly), TemperatureC: math.NaN()}}
		told, err := Foresee(in)
		if err != nil {
			t.Fatal(err)
		}
		const rest = 8
		ran := 0.0
		for _, q := range flow[at+1 : at+1+rest] {
			ran += q
		}
		s := &dry
		if kind == records.Dripping {
			s = &wet
		}
		s.before += crps(plain.afternoon(rest), ran)
		s.after += crps(told.afternoon(rest), ran)
		s.n++
	}
	t.Logf("not dripping, %.0f noons: CRPS %.3f, told %.3f (%+.0f %%); dripping, %.0f: %.3f, told %.3f (%+.0f %%)", dry.n,
		dry.before/dry.n, dry.after/dry.n, 100*(dry.after/dry.before-1), wet.n, wet.before/wet.n, wet.after/wet.n,
		100*(wet.after/wet.before-1))
	if dry.after > 0.85*dry.before {
		t.Errorf("not dripping lowers the CRPS by %.0f %%", 100*(1-dry.after/dry.before))
	}
}
