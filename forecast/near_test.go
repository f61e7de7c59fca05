package forecast

import (
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
	"thawline/testdata"
)

// neighbourly is an invented day at eleven, with what came.
type neighbourly struct {
	in    Inputs
	near  []Nearby // of all bushes, right
	wrong []Nearby // a tenth of them wrong
	came  float64
}

// inventNeighbours lives through a morning of a neighbourhood.
func inventNeighbours(t *testing.T, seed uint64) neighbourly {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 11))
	site := bush(t)
	site.Groups = site.Groups[:1]
	const days = 6
	today := time.Date(2026, 3, 12+int(seed%20), 0, 0, 0, 0, site.Zone)
	start := today.UTC().AddDate(0, 0, -days)
	site.Groups[0].Tapped = start
	w := inventedSpring(rng, start)
	w = w.Slice(0, days*24+36)
	for i := range w.Hours() { // about the bound of a run
		w.Col(weather.TemperatureC)[i] += 1.5
	}
	now := today.Add(11 * time.Hour)
	all := testdata.Neighbours(seed)
	truth := func(n *testdata.Neighbour) weather.Series {
		own := w.Slice(0, w.Hours())
		for i := range own.Hours() {
			own.Col(weather.TemperatureC)[i] += n.OffsetK
			if !own.Time(i).Before(today) {
				own.Col(weather.TemperatureC)[i] += n.TodayK
			}
		}
		return own
	}
	d := neighbourly{in: Inputs{Site: site, Now: now, Seed: seed,
		Bulletin: weather.Bulletin{Source: "test", IssuedAt: now.Add(-5 * time.Hour), Course: w, ElevationM: math.NaN()}}}
	p, err := Foresee(d.in)
	if err != nil {
		t.Fatal(err)
	}
	at := w.Index(today.Add(10 * time.Hour))
	for i := range all {
		own := truth(&all[i])
		flow := flowIfWarmer(&site, &own, 0)
		if i == 0 {
			from, to := w.Index(today), w.Index(today.Add(24*time.Hour))
			d.came = float64(site.Taps()) * sumOf(flow[from:to]) * math.Exp(site.prior(0).LogMean+0.3*rng.NormFloat64())
			continue
		}
		noise := 0.5 * rng.NormFloat64()
		report := func(wrong bool) *Nearby {
			seen := records.Observation{Kind: records.NotDripping, At: w.Time(at).Add(time.Minute)}
			if drips := flow[at] > volume.DripLH; drips != wrong {
				seen.Kind = records.Dripping
			}
			if all[i].Thermometer {
				day := today.Format(time.DateOnly)
				from, to, err := records.Low.Window(day, site.Zone)
				if err != nil {
					t.Fatal(err)
				}
				low, _, _ := own.Extremes(from, to)
				seen = records.Observation{Kind: records.Low, Day: day, At: today.Add(9 * time.Hour), TemperatureC: low + noise}
				if wrong {
					seen.TemperatureC += 6
				}
			}
			there := *p
			there.in.Observed = []records.Observation{seen}
			there.in.Site.Place.LatitudeDeg += all[i].NorthKM / kmPerDegree
			there.in.Site.Place.LongitudeDeg += all[i].EastKM / kmPerDegree / math.Cos(site.Place.LatitudeDeg*math.Pi/180)
			return there.seen()
		}
		if n := report(false); n != nil {
			d.near = append(d.near, *n)
		}
		if n := report(all[i].Wrong); n != nil {
			d.wrong = append(d.wrong, *n)
		}
	}
	return d
}

// crpsWith is the score of the day's litres with what was seen near by.
func (d *neighbourly) crpsWith(t *testing.T, near []Nearby) float64 {
	t.Helper()
	in := d.in
	in.Near = near
	p, err := Foresee(in)
	if err != nil {
		t.Fatal(err)
	}
	y := learnt(&p.in, p.held, p.bush, p.strands.flow, p.calendar)
	return crps(slices.Sorted(slices.Values(dayVolumes(&p.in.Site, p.strands.flow, p.calendar, y.draws)[0])), d.came)
}

// Of the day's litres at eleven more is known with each report from near by, and with a tenth
// of them wrong no less than without any.
func TestNeighboursEyes(t *testing.T) {
	days := uint64(12) // enough for the signs; THAWLINE_NEIGHBOURS=300 for the figures
	if n, err := strconv.ParseUint(os.Getenv("THAWLINE_NEIGHBOURS"), 10, 64); err == nil {
		days = n
	}
	sum := map[string]float64{}
	for seed := uint64(1); seed <= days; seed++ {
		d := inventNeighbours(t, seed)
		for name, near := range map[string][]Nearby{"none": nil, "five": d.near[:min(5, len(d.near))], "fifty": d.near,
			"five wrong": d.wrong[:min(5, len(d.wrong))], "fifty wrong": d.wrong} {
			sum[name] += d.crpsWith(t, near)
		}
	}
	skill := func(name string) float64 { return 1 - sum[name]/sum["none"] }
	t.Logf("skill over no report: 5 %.3f, 50 %.3f; a tenth wrong: 5 %.3f, 50 %.3f; CRPS %.1f L", skill("five"), skill("fifty"),
		skill("five wrong"), skill("fifty wrong"), sum["none"]/float64(days))
	if skill("five") <= 0 || skill("fifty") <= skill("five") || skill("five wrong") <= 0 || skill("fifty wrong") <= 0 {
		t.Error("reports from near by do not help")
	}
}

// What was seen near by tells less from further off, from other heights and from another
// exposure, and nothing where somebody has looked at the bush itself today.
func TestOwnEyesComeFirst(t *testing.T) {
	site := bush(t)
	chances := make([]float64, len(eyesGrid))
	for i, k := range eyesGrid {
		chances[i] = math.Exp(-(k - 3) * (k - 3) / 2)
	}
	at := func(north, up float64, open bool) float64 {
		n := Nearby{Place: site.Place, Exposure: site.Exposure, Chances: chances}
		n.Place.LatitudeDeg += north / kmPerDegree
		n.Place.ElevationM += up
		if open {
			n.Exposure.WindShare += 0.1
		}
		return LookAround(&site, []Nearby{n}).WarmerK
	}
	here := at(0, 0, false)
	for _, less := range []float64{at(30, 0, false), at(0, 150, false), at(0, 0, true)} {
		if less >= here || less <= 0 {
			t.Errorf("%.2f K, and %.2f at the bush itself", less, here)
		}
	}
	if far := at(60, 0, false) / here; math.Abs(far-0.5) > 0.02 {
		t.Errorf("at 60 km %.2f of it is left", far)
	}
	in := Inputs{Site: site, Bulletin: waves(1, 7, 5, 2), Now: march, Seed: 1,
		Near: []Nearby{{Place: site.Place, Exposure: site.Exposure, Chances: chances}}}
	p, err := Foresee(in)
	if err != nil || p.eyes.Reports != 1 || p.eyes.WarmerK < 1 {
		t.Fatalf("%+v %v", p.eyes, err)
	}
	in.Observed = []records.Observation{{Kind: records.Dripping, At: march.Add(-time.Hour)}}
	if p, err = Foresee(in); err != nil || p.eyes.Reports != 0 {
		t.Errorf("its own word is there, and still %+v %v", p.eyes, err)
	}
}
