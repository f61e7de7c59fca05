package forecast

import (
	"math"
	"testing"
	"time"

	"thawline/forecast/boil"
	"thawline/forecast/records"
	"thawline/forecast/weather"
)

// dryBulletin has air of a dew point all day, and a temperature that never lets sap run.
func dryBulletin(airC, dewC float64) weather.Bulletin {
	b := waves(airC, 0, 10, 8)
	for i := range b.Course.Hours() {
		b.Course.Col(weather.DewPointC)[i] = dewC
	}
	return b
}

// twoPM is on the day of march.
var twoPM = march.Add(-4 * time.Hour)

func carried(hoursAgo float64, litres float64) records.Visit {
	return records.Visit{Group: "pails", CollectedAt: twoPM.Add(-time.Duration(hoursAgo * float64(time.Hour))), Taps: 50,
		VolumeL: litres, BrixPct: 2}
}

// Spans are named from the day after a litre of syrup came together, and only then: sap
// of this winter that was carried in, or that is to be boiled.
func TestSugarNeedsSyrup(t *testing.T) {
	const today, tomorrow = "2026-03-10", "2026-03-11"
	for name, c := range map[string]struct {
		visits []records.Visit
		want   string // the first day with a span, "" for none
	}{
		"nothing carried in":             {nil, ""},
		"carried in today":               {[]records.Visit{carried(3, 100)}, tomorrow},
		"carried in yesterday":           {[]records.Visit{carried(26, 100)}, today},
		"carried in weeks ago":           {[]records.Visit{carried(24*20, 100)}, today},
		"too little":                     {[]records.Visit{carried(26, 30)}, ""},
		"little by little, enough today": {[]records.Visit{carried(50, 30), carried(3, 30)}, tomorrow},
		"found empty":                    {[]records.Visit{carried(26, 0)}, ""},
		"not collected":                  {[]records.Visit{carried(26, math.NaN())}, ""},
		"last season":                    {[]records.Visit{carried(24*365, 500)}, ""},
		"of another bush": {[]records.Visit{{Site: "elsewhere", Group: "pails", CollectedAt: march.AddDate(0, 0, -2),
			VolumeL: 500}}, ""},
	} {
		o := mustMake(t, Inputs{Site: bush(t), Bulletin: dryBulletin(-12, -25), Visits: c.visits, Now: twoPM, Seed: 1})
		got := ""
		if len(o.Sugar) > 0 {
			got = o.Sugar[0].Date
		}
		if got != c.want {
			t.Errorf("%s: first span on %q, want %q", name, got, c.want)
		}
	}
}

// A boil that is planned makes syrup for the days after it, not for those before.
func TestSyrupOfPlannedBoil(t *testing.T) {
	in := Inputs{Site: bush(t), Bulletin: waves(1, 7, 14, 10), Now: march, Seed: 1}
	for i := range in.Bulletin.Course.Hours() {
		in.Bulletin.Course.Col(weather.DewPointC)[i] = -25
	}
	o := mustMake(t, in)
	var ends time.Time
	for i := range o.Boil {
		if b := &o.Boil[i]; b.End != nil && ends.IsZero() {
			ends = *b.End
		}
	}
	if ends.IsZero() || len(o.Sugar) == 0 {
		t.Fatalf("no boil or no spans: %v", o.Sugar)
	}
	if first := o.Sugar[0]; first.From.Before(ends) || first.From.Sub(ends) > 24*time.Hour {
		t.Errorf("boiled until %s, sugar from %s", ends, first.From)
	}
}

// Where nobody keeps records, what ran by the weather counts: from the day after the
// taps gave enough, and not before they were there. Records that there are decide alone.
func TestSyrupWithoutRecords(t *testing.T) {
	in := Inputs{Site: bush(t), Bulletin: waves(1, 7, 14, 10), Now: march, Seed: 1}
	for i := range in.Bulletin.Course.Hours() {
		in.Bulletin.Course.Col(weather.DewPointC)[i] = -25
	}
	const tomorrow = "2026-03-11"
	first := func() string {
		if o := mustMake(t, in); len(o.Sugar) > 0 {
			return o.Sugar[0].Date
		}
		return ""
	}
	in.Site.Groups[0].Tapped = march.AddDate(0, 0, -10)
	if got := first(); got != tomorrow {
		t.Errorf("ran for days: first span on %q", got)
	}
	in.Visits = []records.Visit{carried(26, 10)}
	if got := first(); got == tomorrow {
		t.Error("a record of little sap, and a span")
	}
	in.Visits, in.Site.Groups[0].Tapped = nil, march.Add(-time.Hour)
	if got := first(); got == tomorrow {
		t.Error("tapped an hour ago, and a span tomorrow")
	}
}

// Spans lie within the hours in which people stir, today in those that are left, and in
// a heated room dry out damp air.
func TestSugarSpansLieWhereTheyMay(t *testing.T) {
	in := Inputs{Site: bush(t), Bulletin: dryBulletin(-12, -25), Visits: []records.Visit{carried(26, 100)}, Now: twoPM, Seed: 1}
	o := mustMake(t, in)
	if len(o.Sugar) < 5 {
		t.Fatalf("%+v", o.Sugar)
	}
	for i, s := range o.Sugar[:5] {
		from := boil.StirFrom
		if i == 0 {
			from = 15 // the hour that begins now is past
		}
		if s.From.Hour() != from || s.To.Hour() != boil.StirTo || s.From.Format(time.DateOnly) != s.Date || s.Grade != boil.Dry ||
			s.Chance < boil.SureEnough || s.HumidityPct >= 50 {
			t.Errorf("%+v", s)
		}
	}
	in.Bulletin = dryBulletin(2, 1)
	if o := mustMake(t, in); len(o.Sugar) != 0 {
		t.Errorf("damp air: %+v", o.Sugar)
	}
	in.Site.Boiling.RoomC = 20
	if o := mustMake(t, in); len(o.Sugar) < 5 || o.Sugar[1].Grade != boil.Dry {
		t.Errorf("damp air in a heated room: %+v", o.Sugar)
	}
	in.Bulletin = waves(-12, 0, 10, 8) // no service says how damp
	if o := mustMake(t, in); len(o.Sugar) != 0 {
		t.Errorf("air that is not known: %+v", o.Sugar)
	}
}
