package forecast

import (
	"math"
	"slices"
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/weather"
	"thawline/testdata/beside"
)

// schoolSprings are eight: the hill of 2013 and 2014 by the forest's daily air (HF001, Boose),
// 2015 by the hill's own hours (CC0, Baumer et al.), Wisconsin from 2009 on by Madison's
// (GHCN-Daily, US public domain).
func schoolSprings(t *testing.T) []*worked {
	t.Helper()
	small := bush(t)
	small.Place = weather.Place{LatitudeDeg: 42.4485, LongitudeDeg: -72.6806, ElevationM: 251}
	small.Groups = []Group{{ID: "pails", Taps: 50, Method: "pail", ContainerL: 7.5, Tapped: time.Date(2015, 3, 1, 8, 0, 0, 0, small.Zone)}}
	list := springsByDailyAir(t, small)
	f := beside.Open(t, "data/hill-station-2015-hourly.csv")
	hill, _, err := weather.ReadCSV(f, f.Name())
	if err != nil {
		t.Fatal(err)
	}
	tapped := small.Groups[0].Tapped
	list = append(list, &worked{name: "hill 2015, 50 pails", site: small, truth: hill, from: tapped, to: tapped.AddDate(0, 0, 46),
		yield: 1.5})
	dairy := list[2].site
	days, err := weather.ReadDailyCSV(beside.Open(t, "data/madison-daily-1990-2020.csv"), "madison")
	if err != nil {
		t.Fatal(err)
	}
	days.FillGaps()
	hours := days.Hourly(dairy.Place)
	for _, year := range []int{2009, 2012, 2018} {
		site := dairy
		site.Groups = slices.Clone(dairy.Groups)
		from := time.Date(year, time.February, 28, 8, 0, 0, 0, site.Zone)
		site.Groups[0].Tapped = from
		list = append(list, &worked{name: "Wisconsin " + from.Format("2006"), site: site,
			truth: hours.Between(from.AddDate(0, -3, 0), from.AddDate(0, 3, 0)), from: from, to: from.AddDate(0, 0, 49), yield: 1.5})
	}
	return list
}

// classDay is a weekday so many days after a moment, from half past nine to noon.
func classDay(from time.Time, days int, id string) records.ClassVisit {
	at := from.AddDate(0, 0, days)
	for at.Weekday() == time.Saturday || at.Weekday() == time.Sunday {
		at = at.AddDate(0, 0, 1)
	}
	y, m, d := at.Date()
	return records.ClassVisit{ID: id, Day: time.Date(y, m, d, 0, 0, 0, 0, from.Location()), From: 9*time.Hour + 30*time.Minute,
		To: 12 * time.Hour, Learners: 20}
}

// attended is what became of a visit.
type attended struct{ held, off, boils, ofSap, stirs, spoilt, inWarning bool }

// Two weekday visits a season, booked when the taps go in, over eight seasons worked by the
// plan from forecasts with the errors that they have: a boil (of sap, else of syrup on to
// sugar) and something to stir on nine of ten that are held, nothing spoilt is boiled, and none is held inside an official
// warning.
func TestBookedVisitsOverSeasons(t *testing.T) {
	if testing.Short() {
		t.Skip("seasons are lived through in the long pass")
	}
	var all []attended
	for i, w := range schoolSprings(t) {
		w.classes = []records.ClassVisit{classDay(w.from, 24, "first"), classDay(w.from, 36, "second")}
		if i == 1 { // one visit lies in a storm that is warned of
			storm := storm(weather.Severe, w.classes[1].Start().Add(-3*time.Hour), w.classes[1].End().Add(6*time.Hour))
			w.storms = []issued{{warning: storm, at: storm.From.Add(-20 * time.Hour)}}
		}
		seen := w.visited(t)
		t.Logf("%-24s %+v", w.name, seen)
		all = append(all, seen...)
	}
	held, good, ofSap := 0, 0, 0
	for _, one := range all {
		if one.inWarning && one.held || one.spoilt {
			t.Errorf("%+v", one)
		}
		if one.held {
			held++
			if one.boils && one.stirs {
				good++
			}
			if one.ofSap {
				ofSap++
			}
		}
	}
	t.Logf("%d of %d visits held, a boil and something to stir on %d, of sap on %d", held, len(all), good, ofSap)
	if held < len(all)-2 || ofSap < 8 || float64(good) < 0.9*float64(held) {
		t.Errorf("%d visits of %d held, a boil and something to stir on %d, of sap on %d", held, len(all), good, ofSap)
	}
}

// visited lives through a season, looking ahead each evening and when a class comes.
func (w *worked) visited(t *testing.T) (out []attended) {
	t.Helper()
	zone := w.site.Zone
	whole := w.truth.Slice(0, w.truth.Hours())
	whole.FillGaps()
	whole.Complete(w.site.Place)
	flow := flowInTruth(&whole, &w.site)
	hangs := hanging{group: &w.site.Groups[0]}
	var visits []records.Visit
	var todo []CrewRound
	var last *Outlook
	for i := whole.Index(w.from); i+1 < whole.Hours() && whole.Time(i).Before(w.to); i++ {
		hangs.hour(w.yield*flow[0][i], whole.At(weather.TemperatureC, i))
		at := whole.Time(i + 1).In(zone)
		for len(todo) > 0 && !todo[0].Start.After(at) {
			litres := hangs.empty(todo[0].Groups[0].Share)
			visits = append(visits, records.Visit{Group: "pails", CollectedAt: at, Taps: hangs.group.Taps, VolumeL: litres,
				BrixPct: math.NaN()})
			w.house.haveL += litres
			todo = todo[1:]
		}
		for k := range w.classes {
			if c := &w.classes[k]; !c.Start().After(at) && c.Start().After(at.Add(-time.Hour)) {
				out = append(out, w.attend(t, w.outlook(t, &whole, c.Start().Add(-time.Minute), visits), c))
			}
		}
		if at.Hour() == 18 {
			w.house.boilAsPlanned(last, at)
			last = w.outlook(t, &whole, at, visits)
			w.house.check(t, w.name, last)
			todo = last.Work.Rounds
		}
	}
	return out
}

// attend is a visit as it comes to be.
func (w *worked) attend(t *testing.T, o *Outlook, c *records.ClassVisit) attended {
	t.Helper()
	k := slices.IndexFunc(o.Classes, func(p ClassPlan) bool { return p.ID == c.ID })
	if k < 0 {
		t.Fatalf("%s: the visit of %s is not planned", w.name, c.Day.Format(time.DateOnly))
	}
	p := &o.Classes[k]
	a := attended{held: p.Programme != CalledOff, off: p.Programme == CalledOff, stirs: o.Stock.SyrupL >= p.SyrupL}
	for _, warned := range watchAt(w.storms, o.IssuedAt).List {
		a.inWarning = a.inWarning || warned.Severe() && warned.From.Before(p.To) && warned.To.After(p.From)
	}
	good := 0.0
	for _, s := range o.Stock.Sap {
		if !s.Spoilt && (s.KeepsLonger || s.BoilBy.After(p.To)) {
			good += s.Litres
		}
	}
	a.ofSap = good >= enoughShare*p.SapL
	a.boils = a.ofSap && p.Boils == "sap" || p.Boils == "syrup" && o.Stock.SyrupL >= p.SyrupL
	day := o.Boil[0]
	a.spoilt = a.held && p.HaveSapL != nil && *p.HaveSapL > good+1 && day.GatheredL == 0
	return a
}
