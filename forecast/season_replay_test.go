package forecast

import (
	"strings"
	"testing"
	"time"

	"thawline/forecast/records"
	"thawline/forecast/season"
	"thawline/forecast/volume"
)

// "Worth tapping" of the three springs of the hill (CC0, Baumer et al.; HF001, Boose), asked
// each evening from a forecast that errs as forecasts do: three to fourteen days before the
// first day from February on on which a usual tap runs after a week without, and "over" never while a run is likely.
func TestWorthTappingBeforeTheFirstRun(t *testing.T) {
	for _, w := range replays(t) {
		if !strings.HasPrefix(w.name, "hill") || !strings.HasSuffix(w.name, "50 pails") {
			continue
		}
		from := time.Date(w.from.Year(), 1, 10, 18, 0, 0, 0, w.site.Zone)
		bored := w.site
		bored.Groups = append([]Group{}, w.site.Groups...)
		bored.Groups[0].Tapped = w.truth.Start().Add(24 * time.Hour)
		whole, flow, _ := usualFlow(&w.truth, &bored)
		first, before := time.Time{}, from.AddDate(0, 0, -30)
		for day := from.Add(-18 * time.Hour); first.IsZero(); day = day.AddDate(0, 0, 1) {
			sum := 0.0
			for i := max(whole.Index(day), 0); i < whole.Index(day.AddDate(0, 0, 1)); i++ {
				sum += flow[i]
			}
			switch ran := sum >= volume.RunDayL; {
			case ran && day.Month() > time.January && day.Sub(before) > 8*24*time.Hour:
				first = day
			case ran:
				before = day
			}
		}
		w.site.Groups = append([]Group{}, w.site.Groups...)
		w.site.Groups[0].Tapped = time.Time{}
		said := 0
		for now := max(from.Unix(), before.AddDate(0, 0, 1).Unix()); now < first.Unix(); now += 24 * 3600 {
			o := w.outlook(t, &whole, time.Unix(now, 0).In(w.site.Zone), nil)
			if o.Season.WorthTapping {
				said++
			}
			if o.Season.Stage == season.Over && runLikely(o.Days) {
				t.Errorf("%s: over on %s while a run is likely", w.name, o.IssuedAt)
			}
		}
		t.Logf("%s: the first run on %s, worth tapping on %d evenings before it", w.name, first.Format(time.DateOnly), said)
		if said < 3 || said > 14 {
			t.Errorf("%s: worth tapping on %d evenings before the first run", w.name, said)
		}
	}
}

// What somebody tastes ends the season, or keeps it open: sweet sap is good until then at
// least, and sap that is off makes it over while runs go on.
func TestTasteEndsTheSeason(t *testing.T) {
	in := Inputs{Site: bush(t), Bulletin: waves(1, 7, 14, 10), Now: march, Seed: 1}
	plain := mustMake(t, in)
	if plain.Season.Stage == season.Over {
		t.Fatal("over already")
	}
	at := in.Now.Add(-time.Hour)
	in.Observed = []records.Observation{{Kind: records.Off, At: at}}
	if o := mustMake(t, in); o.Season.Stage != season.Over {
		t.Errorf("off: %s", o.Season.Stage)
	}
	in.Observed = append(in.Observed, records.Observation{Kind: records.Sweet, At: at.Add(time.Minute)})
	if o := mustMake(t, in); o.Season.Stage != plain.Season.Stage || o.Season.End.P10 < o.IssuedAt.Format(time.DateOnly) {
		t.Errorf("off, and then sweet: %s, good until %s at least", o.Season.Stage, o.Season.End.P10)
	}
	in.Observed = []records.Observation{{Kind: records.Off, At: at.AddDate(-1, 0, 0)}, {Kind: records.Off, At: at.AddDate(0, 0, 2)}}
	if o := mustMake(t, in); o.Season.Stage != plain.Season.Stage {
		t.Errorf("off a year ago, and the day after tomorrow: %s", o.Season.Stage)
	}
}
