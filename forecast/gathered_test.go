package forecast

import (
	"math"
	"slices"
	"testing"
	"time"

	"thawline/forecast/notebook"
	"thawline/forecast/records"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// springOfVisits is a season of buckets, the place a bush in Wisconsin (a maker's public
// diary) by Madison's air (GHCN-Daily) or a hill (CC0, Baumer et al.) by the air of a forest
// 40 km away (HF001, Boose), which is 0.58 K colder.
func springOfVisits(t *testing.T, log string, hill bool) PastInputs {
	t.Helper()
	site, air, warmer, clock := bush(t), "madison-daily-1990-2020.csv", 0.0, "America/Chicago"
	site.Place = weather.Place{LatitudeDeg: 44.15, LongitudeDeg: -87.72, ElevationM: 200}
	if hill {
		air, warmer, clock = "forest-station-2012-2014-daily.csv", 0.58, "America/New_York"
		site.Place = weather.Place{LatitudeDeg: 42.4485, LongitudeDeg: -72.6806, ElevationM: 251}
	}
	var err error
	if site.Zone, err = time.LoadLocation(clock); err != nil {
		t.Fatal(err)
	}
	days, err := weather.ReadDailyCSV(beside.Open(t, "data/"+air), air)
	if err != nil {
		t.Fatal(err)
	}
	days.FillGaps()
	visits, err := records.ReadCSV(beside.Open(t, "data/"+log), log, site.Zone)
	if err != nil {
		t.Fatal(err)
	}
	for i := range visits {
		visits[i].Group = site.Groups[0].ID
	}
	first, last := visits[0].CollectedAt, visits[len(visits)-1].CollectedAt
	site.Groups[0].Taps, site.Groups[0].ContainerL, site.Groups[0].Tapped = visits[0].Taps, 7.6, first
	from := time.Date(first.Year()-1, time.November, 1, 0, 0, 0, 0, site.Zone)
	whole := days.Hourly(site.Place)
	hours := whole.Between(from, last.AddDate(0, 0, 5))
	hours.Warm(warmer)
	return PastInputs{Site: site, Weather: hours, Visits: visits, From: from, To: hours.End()}
}

// teaches reports whether the sap of a visit is known.
func teaches(e *notebook.Entry) bool { return e.Why == "" && !e.Visit.AtLeast }

// What visits brought is what came: the hours between two visits add up to it, and more
// where pails were full. Where two visits of a log (springOfVisits) are told as one, what
// each brought is told again from the two together, far better than from the weather alone.
func TestVisitsShapeThePast(t *testing.T) {
	by, alone, all, pairs := 0.0, 0.0, 0.0, 0
	for _, of := range []struct {
		log  string
		hill bool
	}{{"tap-log-2013.csv", true}, {"tap-log-2014.csv", true}, {"tap-visits-wisconsin-2015.csv", false}, {"tap-visits-wisconsin-2020.csv", false}} {
		in := springOfVisits(t, of.log, of.hill)
		l, ok, err := lookBack(&in)
		if err != nil || !ok {
			t.Fatal(ok, err)
		}
		entries := l.held.entriesOf(0)
		for i := range entries {
			e := &entries[i]
			if e.Why != "" || e.Since >= e.To {
				continue
			}
			sum := sumOf(l.brought[0].litres[e.Since:e.To])
			if teaches(e) && math.Abs(sum-e.CarriedL) > 0.01 || sum < e.CarriedL-0.01 || sum > 2.5*e.CarriedL+0.01 {
				t.Errorf("%s: the hours before %s add up to %.1f L, and %.1f were brought", of.log, e.At, sum, e.CarriedL)
			}
		}
		joined := in
		joined.Visits, joined.Site.Groups = nil, slices.Clone(in.Site.Groups)
		joined.Site.Groups[0].ContainerL = 0 // two visits together may bring more than pails hold
		var left [][2]*notebook.Entry
		for i := 0; i < len(in.Visits); i++ {
			v := in.Visits[i]
			if i+1 < len(entries) && teaches(&entries[i]) && teaches(&entries[i+1]) {
				left = append(left, [2]*notebook.Entry{&entries[i], &entries[i+1]})
				i++
				v = in.Visits[i]
				v.VolumeL += in.Visits[i-1].VolumeL
			}
			joined.Visits = append(joined.Visits, v)
		}
		told, ok, err := lookBack(&joined)
		if err != nil || !ok {
			t.Fatal(ok, err)
		}
		model := told.litres(&told.in.Site)[0]
		for _, pair := range left {
			first, last := pair[0], pair[1]
			if math.IsNaN(sumOf(told.brought[0].litres[first.Since:last.To])) {
				continue // the season begins with it, and nobody knows when it was bored
			}
			pairs++
			for _, e := range pair {
				all += e.CarriedL
				by += math.Abs(sumOf(told.brought[0].litres[e.Since:e.To]) - e.CarriedL)
				alone += math.Abs(float64(in.Site.Groups[0].Taps)*sumOf(model[e.Since:e.To]) - e.CarriedL)
			}
		}
	}
	t.Logf("%d pairs of visits, %.0f L: what each brought is off by %.0f %% of it, by the weather alone by %.0f %%", pairs, all, 100*by/all, 100*alone/all)
	if pairs < 15 || by > 0.75*alone {
		t.Errorf("%d pairs: %.0f L off with what visits brought, %.0f without", pairs, by, alone)
	}
}

// The season so far, the days of the calendar and what one thing more would have changed
// are one sum, and it is what was carried in, what hangs and what ran over.
func TestSeasonSoFarIsOneSum(t *testing.T) {
	in := demoPast(t)
	now := time.Date(2026, 3, 20, 21, 0, 0, 0, time.UTC)
	whole := in.Weather
	in.To, in.Weather = now, whole.Between(whole.Start(), now)
	in.Visits = slices.DeleteFunc(in.Visits, func(v records.Visit) bool { return v.CollectedAt.After(now) })
	gathered := 0.0
	for i := range in.Visits {
		if v := &in.Visits[i]; v.Collected() {
			gathered += v.VolumeL
		}
	}
	past, err := LookBack(in)
	if err != nil {
		t.Fatal(err)
	}
	days := 0.0
	for _, d := range past.Days {
		days += d.MeanL
	}
	more, ok, err := IfMore(in)
	if err != nil || !ok {
		t.Fatal(ok, err)
	}
	site := in.Site
	site.Groups = slices.Clone(site.Groups)
	for g := range site.Groups {
		site.Groups[g].Tapped = time.Date(2026, 2, 27, 12, 0, 0, 0, site.Zone)
	}
	o := mustMake(t, Inputs{Site: site, Visits: in.Visits, Now: now, Seed: 1, Bulletin: weather.Bulletin{Source: "test", IssuedAt: now,
		FetchedAt: now, Course: whole.Between(whole.Start(), now.AddDate(0, 0, 10)), ElevationM: math.NaN()}})
	hangs := 0.0
	for _, g := range o.Work.Groups {
		hangs += g.HeldL.P50
	}
	soFar := o.Season.Sap.SoFarL.P50
	t.Logf("%.0f L gathered, %.0f hang, %.0f ran over: %.0f so far, %.0f by days, %.0f by hours", gathered, hangs, more.LossL, soFar, days, more.SapL)
	yesterday := o.Season.Sap.Days.P50[o.Season.Sap.Today-1]
	if math.Abs(days-yesterday) > 0.02*yesterday {
		t.Errorf("%.0f L until yesterday, and the days add up to %.0f", yesterday, days)
	}
	for name, litres := range map[string]float64{"by hours": more.SapL, "gathered, hanging and run over": gathered + hangs + more.LossL} {
		if math.Abs(litres-soFar) > 0.05*soFar {
			t.Errorf("%.0f L so far, and %.0f %s", soFar, litres, name)
		}
	}
}
