package message

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"thawline/forecast"
	"thawline/forecast/units"
	"thawline/forecast/weather"
)

// stormAt puts a storm, warned of officially, over the hours of tomorrow.
func stormAt(o *forecast.Outlook, issuer, event weather.Quoted, from, to int, lossL float64) {
	zone := o.IssuedAt.Location()
	at := func(hour int) time.Time { return time.Date(2026, 3, 24, hour, 0, 0, 0, zone) }
	o.Warnings = forecast.Official{State: weather.WarningsKnown,
		List: []weather.Warning{{ID: "1", Issuer: issuer, Event: event, Severity: weather.Severe, From: at(from), To: at(to)}}}
	o.Work.Dangers = append(o.Work.Dangers,
		forecast.Danger{From: at(from), To: at(to), What: forecast.DangerWarning, Warning: "1", LossL: lossL})
}

var nws = weather.Quoted{"en": "NWS"}

// The evening text says both sides: until when one can go, or what is lost.
func TestEveningSaysBothSidesOfAStorm(t *testing.T) {
	ice := weather.Quoted{"en": "Ice Storm Warning"}
	ahead := outlook("Fox Hollow", 0.97, forecast.Run, 310, 610, 1190, -6, 8, 9, 20, 2)
	gatherAt(&ahead, 13, "ridge")
	latest := time.Date(2026, 3, 24, 15, 0, 0, 0, ahead.IssuedAt.Location())
	ahead.Work.Groups[0].Latest, ahead.Work.Groups[0].LossAvoidedL, ahead.Work.Groups[0].Why = &latest, 151, "danger"
	stormAt(&ahead, nws, ice, 18, 36, 20)
	stuck := outlook("Fox Hollow", 0.97, forecast.Run, 310, 610, 1190, -6, 8, 9, 20, 2)
	stuck.Work = forecast.Work{Until: latest.Add(4 * time.Hour),
		Groups: []forecast.GroupWork{{Group: "ridge", Decision: forecast.Leave, Why: "danger", HeldL: forecast.Range{P50: 300}}}}
	stormAt(&stuck, nws, ice, -8, 36, 151)
	own := outlook("Fox Hollow", 0.97, forecast.Run, 310, 610, 1190, -6, 8, 9, 20, 2)
	own.Work = forecast.Work{Until: stuck.Work.Until, Groups: stuck.Work.Groups,
		Dangers: []forecast.Danger{{From: latest, To: latest.Add(6 * time.Hour), What: forecast.DangerFreezingRain}}}
	between, promised := own, own
	between.Work.Rounds = []forecast.CrewRound{{Start: latest.Add(time.Hour), End: latest.Add(2 * time.Hour)}}
	between.Work.Dangers = []forecast.Danger{{From: latest.Add(-3 * time.Hour), To: latest.Add(time.Hour), What: forecast.DangerFreezingRain}}
	promised.Work.Rounds = []forecast.CrewRound{{Start: latest.Add(time.Hour), End: latest.Add(2 * time.Hour), Pinned: true}}
	nothing := stuck
	nothing.Work.Groups = []forecast.GroupWork{{Group: "ridge", Decision: forecast.NoWork}}
	unknown := outlook("Fox Hollow", 0.01, forecast.Still, 0, 0, 0, -9, -2, 0, 0, 2)
	unknown.Warnings.State = weather.WarningsUnknown
	for name, c := range map[string]struct {
		o    forecast.Outlook
		want string
		not  string
	}{
		"go before it": {ahead,
			"Ice Storm Warning by NWS from tomorrow 6 pm: go by 3 pm or leave it; about 40 gallons lost.", ""},
		"too late to go":           {stuck, "Ice Storm Warning by NWS until Wednesday noon: leave it; about 40 gallons lost.", "Gather"},
		"what the forecast sees":   {own, "Freezing rain from tomorrow 3 pm to 9 pm: nobody goes then.", "NWS"},
		"a round after it":         {between, "Freezing rain from tomorrow noon to 4 pm: nobody goes then.", ""},
		"a round promised into it": {promised, "Freezing rain from tomorrow 3 pm, and a round is promised then: think twice.", "nobody goes"},
		"nothing to go for":        {nothing, "", "Ice Storm"},
		"nobody knows of warnings": {unknown, "Official warnings not known.", ""},
	} {
		got := words(t, "en", units.US).Evening(&c.o)
		if !strings.Contains(got, c.want) || c.not != "" && strings.Contains(got, c.not) {
			t.Errorf("%s: got %q, want %q and not %q", name, got, c.want, c.not)
		}
		if n, ok := Septets(got); !ok || n > SMSLimit {
			t.Errorf("%s: %d septets", name, n)
		}
	}
}

// Whatever is warned of, wherever and by whom: one text message, with the event in the
// issuer's words and what there is to do.
func TestDangerFitsOneText(t *testing.T) {
	events := []weather.Quoted{{"en": "Ice Storm Warning"}, {"en": "Snow Squall Warning"}, {"en": "Extreme Cold Warning"},
		{"en": "freezing rain warning", "fr": "avertissement de pluie verglaçante"},
		{"en": "winter storm warning", "fr": "avertissement de tempête hivernale"}, {"en": "Strong wind gusts"},
		{"en": "Severe icing on vessels"}}
	issuers := []weather.Quoted{nws, {"en": "Environment Canada", "fr": "Environnement Canada"}, {"en": "MET Norway"}}
	rapid.Check(t, func(t *rapid.T) {
		o := outlook(rapid.StringMatching(`[A-Za-zé ]{1,40}`).Draw(t, "name"), rapid.Float64Range(0, 1).Draw(t, "chance"), "run", 100,
			610, 1190, -6, 8, 9, 20, rapid.Float64Range(0, 100).Draw(t, "age"))
		names := rapid.SliceOfNDistinct(rapid.StringMatching(`[A-Za-z ]{3,20}`), 1, 5, rapid.ID[string]).Draw(t, "groups")
		if rapid.Bool().Draw(t, "go") {
			gatherAt(&o, 13, names...)
		} else {
			o.Work.Groups = []forecast.GroupWork{{Group: names[0], Decision: forecast.Leave, Why: "danger",
				HeldL: forecast.Range{P50: 300}}}
		}
		event, issuer := rapid.SampledFrom(events).Draw(t, "event"), rapid.SampledFrom(issuers).Draw(t, "issuer")
		from := rapid.IntRange(-8, 17).Draw(t, "from")
		stormAt(&o, issuer, event, from, from+rapid.IntRange(9, 60).Draw(t, "hours"), rapid.Float64Range(0, 5000).Draw(t, "loss"))
		if rapid.Bool().Draw(t, "bad") {
			o.Work.Groups = append(o.Work.Groups, forecast.GroupWork{Group: "Old pails by the road", Decision: forecast.TipOut})
		}
		language := rapid.SampledFrom([]string{"en", "fr"}).Draw(t, "language")
		w, err := NewWords(Reader{Language: language, Units: rapid.SampledFrom([]units.System{units.US, units.Metric}).Draw(t, "units")})
		if err != nil {
			t.Fatal(err)
		}
		w = w.In(Texted)
		got := w.Evening(&o)
		if n, ok := Septets(got); !ok || n > SMSLimit {
			t.Fatalf("%d septets: %q", n, got)
		}
		if first, _, _ := strings.Cut(gsm(event.In(language)), " "); !strings.Contains(got, first) ||
			!strings.Contains(got, gsm(issuer.In(language))) {
			t.Fatalf("%q by %q is not quoted: %q", event.In(language), issuer.In(language), got)
		}
	})
}
