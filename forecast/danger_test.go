package forecast

import (
	"fmt"
	"testing"
	"time"

	"thawline/forecast/weather"
)

func storm(severity weather.Severity, from, to time.Time) weather.Warning {
	return weather.Warning{ID: "urn:oid:1", Thread: "urn:oid:1", Source: "nws", Issuer: weather.Quoted{"en": "NWS"},
		Event: weather.Quoted{"en": "Ice Storm Warning"}, Severity: severity, From: from, To: to}
}

// full is a bush whose pails run over within a day or two.
func fullBush(t testing.TB) Inputs {
	in := Inputs{Site: bush(t), Bulletin: waves(1, 7, 14, 10), Now: march, Seed: 1}
	in.Site.Groups = []Group{{ID: "pails", Taps: 50, Method: "pail", ContainerL: 4}}
	return in
}

func known(list ...weather.Warning) Watch {
	return Watch{Warnings: weather.Warnings{State: weather.WarningsKnown, KnownAt: march, List: list}}
}

// inDanger lists the rounds that overlap a danger and that nobody has promised.
func inDanger(o *Outlook) (at []string) {
	for i := range o.Work.Rounds {
		r := &o.Work.Rounds[i]
		if d := o.Work.DangerOf(r); d != nil && !r.Pinned {
			at = append(at, fmt.Sprintf("round %s to %s in %s", r.Start.Format(time.RFC3339), r.End.Format("15:04"), d.What))
		}
	}
	return at
}

// A round that would lie in a storm moves ahead of it, says why, and can start no later
// than it is done before the storm; a warning of what is moderate changes nothing.
func TestRoundsMoveAheadOfAStorm(t *testing.T) {
	in := fullBush(t)
	calm := mustMake(t, in)
	first := calm.Work.Rounds[0]
	in.Watch = known(storm(weather.Moderate, first.Start.Add(-time.Hour), first.End.Add(48*time.Hour)))
	if o := mustMake(t, in); len(o.Work.Dangers) != 0 || !o.Work.Rounds[0].Start.Equal(first.Start) || len(o.Warnings.List) != 1 {
		t.Errorf("a moderate warning: %d dangers, first round %s, want %s", len(o.Work.Dangers), o.Work.Rounds[0].Start, first.Start)
	}
	from := first.Start.Add(30 * time.Minute)
	in.Watch = known(storm(weather.Severe, from, from.Add(60*time.Hour)))
	o := mustMake(t, in)
	if all := inDanger(&o); len(all) > 0 {
		t.Error(all)
	}
	if len(o.Work.Dangers) != 1 || o.Work.Dangers[0].What != DangerWarning || o.Work.Dangers[0].Warning != "urn:oid:1" ||
		o.Work.Dangers[0].LossL <= 0 {
		t.Fatalf("dangers %+v", o.Work.Dangers)
	}
	g := &o.Work.Groups[0]
	if g.Why != "danger" {
		t.Errorf("why %q, first round %v, without the storm %s", g.Why, g.GoAt, first.Start)
	}
	if w := &calm.Work.Groups[0]; w.Why == "danger" {
		t.Error("danger without any")
	}
	if g.GoAt != nil && g.GoAt.Before(from) {
		r := o.Work.Rounds[0]
		if end := g.Latest.Add(r.End.Sub(r.Start)); end.After(from) {
			t.Errorf("latest start %s: done at %s, in the storm from %s", g.Latest, end, from)
		}
	}
	if o.Work.LossL < calm.Work.LossL || o.Warnings.State != weather.WarningsKnown {
		t.Errorf("loss %.0f L with a storm and %.0f without; %s", o.Work.LossL, calm.Work.LossL, o.Warnings.State)
	}
}

// Who has promised a round goes: it stands, and it is said that it lies in danger.
func TestPromisedRoundsStandInDanger(t *testing.T) {
	in := fullBush(t)
	at := march.Add(16 * time.Hour).Truncate(time.Hour)
	in.Site.Gathering.Pinned = []time.Time{at}
	in.Watch = known(storm(weather.Extreme, at.Add(-time.Hour), at.Add(5*time.Hour)))
	o := mustMake(t, in)
	found := false
	for i := range o.Work.Rounds {
		r := &o.Work.Rounds[i]
		found = found || r.Pinned && r.Start.Equal(at) && o.Work.DangerOf(r) != nil
	}
	if all := inDanger(&o); !found || len(all) > 0 {
		t.Errorf("the promised round stands and is said to be in danger: %v; others: %v", found, all)
	}
}

// What the forecast itself sees: wind, cold and rain that freezes, each by the keeper's
// bound; snow and a mild breeze are no danger.
func TestDangersOfTheForecast(t *testing.T) {
	from, to := march.Add(14*time.Hour).Truncate(time.Hour), march.Add(26*time.Hour).Truncate(time.Hour)
	for name, c := range map[string]struct {
		set   func(s *weather.Series, i int)
		bound func(g *Gathering)
		want  DangerKind // "" for none
	}{
		"storm of wind": {func(s *weather.Series, i int) { s.Col(weather.WindSpeedMS)[i] = 12 }, nil, DangerWind},
		"breeze":        {func(s *weather.Series, i int) { s.Col(weather.WindSpeedMS)[i] = 9 }, nil, ""},
		"breeze, and a careful": {func(s *weather.Series, i int) { s.Col(weather.WindSpeedMS)[i] = 9 },
			func(g *Gathering) { g.GustMS = 12 }, DangerWind},
		"bitter": {func(s *weather.Series, i int) {
			s.Col(weather.TemperatureC)[i] = -24
			s.Col(weather.WindSpeedMS)[i] = 6
		}, nil, DangerCold},
		"bitter, and a hardy": {func(s *weather.Series, i int) {
			s.Col(weather.TemperatureC)[i] = -24
			s.Col(weather.WindSpeedMS)[i] = 6
		}, func(g *Gathering) { g.ChillC = -50 }, ""},
		"cold without wind": {func(s *weather.Series, i int) {
			s.Col(weather.TemperatureC)[i] = -20
			s.Col(weather.WindSpeedMS)[i] = 1
		}, nil, ""},
		"freezing rain":          {func(s *weather.Series, i int) { icy(s, i, -2, -2.5, 0.6, 0.2) }, nil, DangerFreezingRain},
		"snow that lies":         {func(s *weather.Series, i int) { icy(s, i, -2, -2.5, 0.6, 0.2+0.01*float64(i)) }, nil, ""},
		"a trace":                {func(s *weather.Series, i int) { icy(s, i, -2, -2.5, 0.1, 0.2) }, nil, ""},
		"too cold to be rain":    {func(s *weather.Series, i int) { icy(s, i, -9, -9.5, 0.6, 0.2) }, nil, ""},
		"dry air":                {func(s *weather.Series, i int) { icy(s, i, -2, -8, 0.6, 0.2) }, nil, ""},
		"rain that does nothing": {func(s *weather.Series, i int) { icy(s, i, 6, 5, 2, 0.2) }, nil, ""},
	} {
		in := fullBush(t)
		for i := in.Bulletin.Course.Index(from); i < in.Bulletin.Course.Index(to); i++ {
			c.set(&in.Bulletin.Course, i)
		}
		if c.bound != nil {
			c.bound(&in.Site.Gathering)
		}
		o := mustMake(t, in)
		if all := inDanger(&o); len(all) > 0 {
			t.Errorf("%s: %v", name, all)
		}
		for _, d := range o.Work.Dangers {
			if d.What != c.want {
				t.Errorf("%s: %s from %s to %s", name, d.What, d.From, d.To)
			}
		}
		if c.want != "" && (len(o.Work.Dangers) == 0 || o.Work.Dangers[0].From.Sub(from).Abs() > 3*time.Hour) {
			t.Errorf("%s: no danger from %s on", name, from)
		}
	}
}

func icy(s *weather.Series, i int, airC, dewC, rainMM, snowM float64) {
	for v, x := range map[weather.Variable]float64{weather.TemperatureC: airC, weather.DewPointC: dewC, weather.PrecipitationMM: rainMM,
		weather.SnowDepthM: snowM} {
		s.Col(v)[i] = x
	}
}

// Unknown is said, never taken for none; what was last known stands until it is over.
func TestUnknownWarnings(t *testing.T) {
	in := fullBush(t)
	if o := mustMake(t, in); o.Warnings.State != weather.WarningsUnavailable || o.Warnings.List == nil || o.Warnings.KnownAt != nil {
		t.Errorf("nobody asked: %s", o.Warnings.State)
	}
	over, coming := storm(weather.Severe, march.Add(-20*time.Hour), march),
		storm(weather.Severe, march.Add(12*time.Hour), march.Add(24*time.Hour))
	in.Watch = known(over, coming)
	in.Watch.State, in.Watch.KnownAt = weather.WarningsUnknown, march.Add(-5*time.Hour)
	o := mustMake(t, in)
	if o.Warnings.State != weather.WarningsUnknown || !o.Warnings.KnownAt.Equal(march.Add(-5*time.Hour)) || len(o.Warnings.List) != 1 ||
		len(o.Work.Dangers) != 1 || len(inDanger(&o)) > 0 {
		t.Errorf("%s since %v, %d warnings, %d dangers", o.Warnings.State, o.Warnings.KnownAt, len(o.Warnings.List), len(o.Work.Dangers))
	}
}

// The danger that costs most is said by what it costs: shares of all add up to what rounds
// around them lose more.
func TestLossOfDangersAddsUp(t *testing.T) {
	in := fullBush(t)
	calm := mustMake(t, in)
	a, b := storm(weather.Severe, march.Add(12*time.Hour), march.Add(40*time.Hour)),
		storm(weather.Severe, march.Add(60*time.Hour), march.Add(80*time.Hour))
	b.ID = "urn:oid:2"
	in.Watch = known(a, b)
	o := mustMake(t, in)
	sum := 0.0
	for _, d := range o.Work.Dangers {
		sum += d.LossL
	}
	if more := o.Work.LossL - calm.Work.LossL; sum < more-0.3 {
		t.Errorf("dangers cost %.1f L, and rounds around them lose %.1f L more", sum, more)
	}
}

// BenchmarkDangers times what looking for dangers adds to an outlook of 51 members without
// any.
func BenchmarkDangers(b *testing.B) {
	in := fullBush(b)
	e, err := weather.Assemble(&in.Bulletin, in.Site.Place, in.Now, 1)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		dangersOf(&in, &e)
	}
}
