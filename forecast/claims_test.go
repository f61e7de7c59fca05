package forecast

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"thawline/forecast/volume"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// Rounds lie where somebody is free and it is light, unless a person pins one.
func TestRoundsAreForPeopleAndDaylight(t *testing.T) {
	site := bush(t)
	for d := range time.Saturday + 1 { // free by night as well
		site.Gathering.Free = append(site.Gathering.Free, Free{"robin", d, 0, 24 * time.Hour})
	}
	in := Inputs{Site: site, Bulletin: waves(2, 8, 14, 10), Now: march, Seed: 1}
	o := mustMake(t, in)
	if len(o.Work.Rounds) < 2 {
		t.Fatalf("%d rounds: nothing is checked", len(o.Work.Rounds))
	}
	const civilDeg = -6 // of the sun's centre, at civil dawn and dusk (US Naval Observatory, from memory)
	for _, r := range o.Work.Rounds {
		for _, at := range []time.Time{r.Start, r.End} {
			if weather.SunAt(at, site.Place.LatitudeDeg, site.Place.LongitudeDeg).ElevationDeg < civilDeg {
				t.Errorf("a round in the dark, at %s", at)
			}
		}
	}
	in.Site.Gathering.Free = []Free{{"robin", time.Saturday, 9 * time.Hour, 17 * time.Hour}}
	pin := march.Add(30 * time.Hour)
	in.Site.Gathering.Pinned = []time.Time{pin}
	pinned := false
	for _, r := range mustMake(t, in).Work.Rounds {
		pinned = pinned || r.Pinned && r.Start.Equal(pin)
		if !r.Pinned && (r.Start.Weekday() != time.Saturday || r.Start.Hour() < 9 || r.End.Hour() > 17) {
			t.Errorf("a round from %s to %s, when nobody is free", r.Start, r.End)
		}
	}
	if !pinned {
		t.Error("the pinned round is missing")
	}
}

// Members that are made from a forecast err by its age: of yesterday's the range is
// wider.
func TestOldWeatherWidens(t *testing.T) {
	width := func(age time.Duration) float64 {
		b := waves(1, 7, 14, 14)
		b.IssuedAt = march.Add(-age)
		e, err := weather.Assemble(&b, bush(t).Place, march, 2)
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for m := range e.Futures {
			x := e.Futures[m].At(weather.TemperatureC, 24) - e.Futures[0].At(weather.TemperatureC, 24)
			sum += x * x
		}
		return math.Sqrt(sum / float64(len(e.Futures)))
	}
	if fresh, old := width(0), width(48*time.Hour); old < 1.15*fresh {
		t.Errorf("a day ahead members stray by %.2f K, of a forecast two days old by %.2f", fresh, old)
	}
}

// On four days in five it ends between the two figures: evenings of 2015 on a hill in
// Massachusetts (CC0, Baumer et al., R package macleish), with forecasts that err as
// forecasts do and yields drawn as they are believed.
func TestFourDaysInFive(t *testing.T) {
	f := beside.Open(t, "data/hill-station-2015-hourly.csv")
	truth, _, err := weather.ReadCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	site := bush(t)
	site.Place = weather.Place{LatitudeDeg: 42.4485, LongitudeDeg: -72.6806, ElevationM: 251}
	site.Groups = []Group{{ID: "pails", Taps: 50, Method: "pail", ContainerL: 15, Tapped: time.Date(2015, 3, 1, 8, 0, 0, 0, site.Zone)}}
	whole, flow, _ := usualFlow(&truth, &site)
	ran := map[string]float64{}
	for i, q := range flow {
		ran[whole.Time(i).In(site.Zone).Format(time.DateOnly)] += q
	}
	b := volume.Prior(volume.Pail)
	rng := rand.New(rand.NewPCG(5, 6))
	told, within := 0.0, 0.0
	for seed := range uint64(3) {
		for day := time.Date(2015, 3, 1, 18, 30, 0, 0, site.Zone); day.Month() < time.May &&
			day.YearDay() < 110; day = day.AddDate(0, 0, 1) {
			at := uint64(day.Unix()) + seed
			d := mustMake(t, Inputs{Site: site,
				Bulletin: weather.Bulletin{Source: "file", IssuedAt: day, Course: forecastOf(&truth, site.Place, day, at),
					ElevationM: math.NaN()}, Now: day, Seed: at}).Days[1]
			for range 100 {
				if d.RunProbability < 0.3 {
					continue
				}
				litres := 50 * ran[d.Date] * math.Exp(b.LogMean+b.LogSD*rng.NormFloat64()+b.DayLogSD*rng.NormFloat64())
				if told++; d.VolumeL.P10 <= litres && litres <= d.VolumeL.P90 {
					within++
				}
			}
		}
	}
	t.Logf("%.0f %% of the days that were told of ended between the figures", 100*within/told)
	if share := within / told; share < 0.7 || share > 0.9 {
		t.Errorf("%.2f of days end between the two figures", share)
	}
}
