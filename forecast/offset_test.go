package forecast

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/rounds"
	"thawline/forecast/weather"
)

// colderBush is what a keeper wrote down whose bush is so much warmer than the forecast,
// in K, and the weather of which the forecast knows: nights that hardly freeze among
// others that do.
func colderBush(t testing.TB, warmerK float64) Inputs {
	in := Inputs{Site: bush(t), Bulletin: waves(2, 4.5, 60, 10), Now: march, Seed: 1}
	air := in.Bulletin.Course.Col(weather.TemperatureC)
	for i := range air {
		air[i] += 2.2 * math.Sin(float64(i/24)*1.7) // each day another height
	}
	bulletin := in.Bulletin
	bulletin.Course = in.Bulletin.Course.Slice(0, in.Bulletin.Course.Hours())
	e, err := weather.Assemble(&bulletin, in.Site.Place, in.Now, in.Seed)
	if err != nil {
		t.Fatal(err)
	}
	in.Site.Groups[0].Tapped = march.AddDate(0, 0, -50)
	s := followPast(&in.Site, &e, []float64{warmerK})
	var pail rounds.Pail
	for i, q := range s.flow[0].strands[0] {
		pail.Hour(0.6*q, rounds.Melts(s.past[0].At(weather.TemperatureC, i)))
		if at := s.past[0].Time(i + 1); at.Hour() == 22 && pail.LiquidL > 0.5 && at.Before(in.Now) {
			in.Visits = append(in.Visits,
				records.Visit{Group: "pails", CollectedAt: at, Taps: 50, VolumeL: math.Round(50 * pail.Empty()), BrixPct: math.NaN()})
		}
	}
	return in
}

// Visits to a bush that is colder or warmer than the forecast's air teach it, and days are
// told by the bush's own air, its frosts with them.
func TestVisitsTeachTheBushsAir(t *testing.T) {
	for _, k := range []float64{-1.4, 1.4} {
		in := colderBush(t, k)
		told := mustMake(t, in)
		in.Visits = nil
		before := mustMake(t, in)
		t.Logf("%+.1f K: %+v from %d visits, before %+v; lows %.1f and %.1f", k, told.Offset.WarmerK, told.Offset.Visits,
			before.Offset.WarmerK, told.Days[1].TemperatureC.Min, before.Days[1].TemperatureC.Min)
		if mid := told.Offset.WarmerK.P50; math.Abs(mid-k) > 0.5 || told.Offset.WarmerK.P10 > k || told.Offset.WarmerK.P90 < k {
			t.Errorf("%+.1f K was found as %+v", k, told.Offset.WarmerK)
		}
		if b := before.Offset; math.Abs(b.WarmerK.P50) > 0.01 || b.WarmerK.P90 < 1.1 || b.Visits != 0 {
			t.Errorf("before any visit the bush is taken to be warmer by %+v", b)
		}
		moved := told.Days[1].TemperatureC.Min - before.Days[1].TemperatureC.Min
		if math.Abs(moved-told.Offset.WarmerK.P50) > 0.5 {
			t.Errorf("the bush is %+.1f K warmer, and its low moved by %+.1f K", told.Offset.WarmerK.P50, moved)
		}
	}
}

// A thermometer's word outweighs what visits leave open, and goes as far as it says.
func TestThermometerSetsTheOffset(t *testing.T) {
	in := Inputs{Site: bush(t), Bulletin: waves(1, 7, 14, 10), Now: march, Seed: 1, Offset: Offset{MeanK: -3, SDK: 0.4}}
	o := mustMake(t, in)
	if k := o.Offset.WarmerK; math.Abs(k.P50+3) > 0.05 || k.P90-k.P10 > 1.2 {
		t.Errorf("a bush 3 K colder by its thermometer is told as %+v", k)
	}
	in.Offset = Offset{}
	if plain := mustMake(t, in); math.Abs(o.Days[2].TemperatureC.Min-plain.Days[2].TemperatureC.Min+3) > 0.4 {
		t.Errorf("low %.1f by the thermometer, %.1f without", o.Days[2].TemperatureC.Min, plain.Days[2].TemperatureC.Min)
	}
}

// What one season taught of the air is held in the next, a little less surely.
func TestOffsetIsHeldNextSeason(t *testing.T) {
	in := colderBush(t, -1.4)
	now := mustMake(t, in)
	p, err := Foresee(in)
	if err != nil {
		t.Fatal(err)
	}
	next := Inputs{Site: in.Site, Bulletin: waves(1, 7, 14, 10), Now: march, Seed: 1,
		Taught: Taught{Know: p.bush.NextSeason(), Seasons: []int{1}}}
	next.Site.Groups[0].Tapped = time.Time{}
	o := mustMake(t, next)
	if math.Abs(o.Offset.WarmerK.P50-now.Offset.WarmerK.P50) > 0.1 || o.Offset.EarlierSeasons != 1 {
		t.Errorf("%+v, and %+v the next season", now.Offset, o.Offset)
	}
	if width := func(r Range) float64 { return r.P90 - r.P10 }; width(o.Offset.WarmerK) <= width(now.Offset.WarmerK) {
		t.Errorf("it is surer of the next season: %+v after %+v", o.Offset.WarmerK, now.Offset.WarmerK)
	}
}
