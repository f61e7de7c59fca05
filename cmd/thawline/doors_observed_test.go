package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"mime/multipart"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast/weather"
)

// seen is what was seen in the bush, without who wrote it.
func (d *doors) seen() string {
	d.t.Helper()
	stored, err := d.app.Archive.Observations(d.t.Context(), "hill", time.Time{}, d.site.Zone)
	if err != nil {
		d.t.Fatal(err)
	}
	var out []string
	for i := range stored {
		o := &stored[i]
		out = append(out, fmt.Sprintf("%s %s %.1f%s%s", o.Day, o.Kind, o.TemperatureC, o.Group, o.Sign))
	}
	return strings.Join(out, "; ")
}

// knowsWeather keeps days and nights between two temperatures around the clock's moment.
func (d *doors) knowsWeather(lowC, highC float64) {
	d.t.Helper()
	hours := weather.NewSeries(d.now.AddDate(0, 0, -3).Truncate(time.Hour), 96)
	for i := range hours.Hours() {
		h := float64(hours.Time(i).In(d.site.Zone).Hour())
		hours.Set(weather.TemperatureC, hours.Time(i), (lowC+highC)/2-(highC-lowC)/2*math.Cos(2*math.Pi*(h-5)/24))
	}
	if err := d.app.Archive.PutHours(d.t.Context(), app.PlaceKey(d.site), &hours); err != nil {
		d.t.Fatal(err)
	}
}

// readings are what somebody reads or sees: the words of a text in each language, and the
// same to machines.
type reading struct {
	en, fr  string
	kind    string
	celsius float64
	sign    string
}

var seenWays = []struct {
	name   string
	send   func(d *doors, role auth.Role, r *reading) said
	says   bool // it answers with words
	writes map[auth.Role]int
}{
	{"command", func(d *doors, _ auth.Role, r *reading) said {
		words := map[string]string{"en": r.en, "fr": r.fr}[d.lang]
		out, err := run(d.t, d.env, append([]string{"records", "note", "--config", d.config, "--now", d.now.Format(time.RFC3339), "--"},
			strings.Fields(words)...)...)
		return commandSaid(out, err)
	}, true, nil},
	{"form", func(d *doors, role auth.Role, r *reading) said {
		form := url.Values{"key": {fmt.Sprintf("seen-%06d", d.asked)}, "units": {"metric"}, "do": {r.kind}, "sign": {r.sign}}
		if r.kind == "low" || r.kind == "high" {
			form.Set("do", "read")
			form.Set(r.kind, strings.Replace(fmt.Sprintf("%g", r.celsius), ".", ",", 1))
		}
		w := d.ask("POST", "/site/hill/observations", "application/x-www-form-urlencoded", form.Encode(), "Accept", "application/json",
			"Cookie", d.sessions[role])
		var answer struct{ Say string }
		if err := json.Unmarshal(w.Body.Bytes(), &answer); err != nil {
			answer.Say = w.Body.String()
		}
		return said{answer.Say, w.Code == http.StatusOK}
	}, true, fromCrewOn},
	{"api", func(d *doors, role auth.Role, r *reading) said {
		one := map[string]any{"kind": r.kind, "sign": r.sign}
		if !math.IsNaN(r.celsius) {
			one["temperature_c"] = r.celsius
		}
		body, err := json.Marshal(map[string]any{"observations": []any{one}})
		if err != nil {
			d.t.Fatal(err)
		}
		w := d.ask("POST", "/api/v1/sites/hill/observations", "application/json", string(body), "Cookie", d.sessions[role])
		var answer struct {
			Says   string
			Errors []struct{ Message string }
		}
		if err := json.Unmarshal(w.Body.Bytes(), &answer); err != nil {
			d.t.Fatal(err)
		}
		for _, e := range answer.Errors {
			answer.Says += e.Message
		}
		return said{answer.Says, w.Code == http.StatusOK}
	}, true, fromCrewOn},
	{"text", func(d *doors, role auth.Role, r *reading) said {
		return d.byText(role, &round{group: map[string]string{"en": r.en, "fr": r.fr}[d.lang], litres: none})
	}, true, fromCrewOn},
	{"sheet", func(d *doors, role auth.Role, r *reading) said {
		var b bytes.Buffer
		form := multipart.NewWriter(&b)
		part, err := form.CreateFormFile("file", "thermometer.csv")
		if err != nil {
			d.t.Fatal(err)
		}
		_, _ = io.WriteString(part, d.seenSheet(r))
		_ = form.Close()
		w := d.ask("POST", "/site/hill/records/import", form.FormDataContentType(), b.String(), "Cookie", d.sessions[role])
		return said{tags.ReplaceAllString(w.Body.String(), " "), w.Code == http.StatusOK}
	}, false, map[auth.Role]int{auth.Keeper: 1}},
	{"import", func(d *doors, _ auth.Role, r *reading) said {
		out, err := run(d.t, d.env, "records", "import", written(d.t, "thermometer.csv", d.seenSheet(r)), "--config", d.config, "--now",
			d.now.Format(time.RFC3339))
		return commandSaid(out, err)
	}, false, nil},
}

// seenSheet is a reading as a file.
func (d *doors) seenSheet(r *reading) string {
	celsius := ""
	if !math.IsNaN(r.celsius) {
		celsius = fmt.Sprint(r.celsius)
	}
	return "at,kind,temperature_c,sign\n" + d.now.Format(time.RFC3339) + "," + r.kind + "," + celsius + "," + r.sign + "\n"
}

// What is seen in the bush is taken by every way from those who may write, once, with the
// same answer; a figure that the weather speaks against is asked about and not kept.
func TestWhatIsSeenAtAllDoors(t *testing.T) {
	lowest, wrong := reading{"low -6.5", "min -6,5", "low", -6.5, ""}, reading{"low 24", "min 24", "low", 24, ""}
	lower, drips, still := reading{"low -7", "min -7", "low", -7, ""}, reading{"drips", "coule", "dripping", none, ""},
		reading{"no drip", "coule pas", "not_dripping", none, ""}
	for _, lang := range []string{"en", "fr"} {
		for i := range seenWays {
			w := &seenWays[i]
			t.Run(w.name+" "+lang, func(t *testing.T) {
				d := openDoors(t, lang)
				d.knowsWeather(-4, 6)
				role := auth.Keeper
				for _, r := range []auth.Role{auth.Viewer, auth.Crew} {
					if w.writes != nil && w.writes[r] == 0 {
						if got := w.send(d, r, &drips); got.taken && w.name != "text" || d.seen() != "" {
							t.Errorf("%s: taken %t, kept %s", r, got.taken, d.seen())
						}
					} else if w.writes != nil {
						role = r
					}
				}
				expect := func(what string, r *reading, taken bool, kept string, says ...string) {
					t.Helper()
					d.now = d.now.Add(2 * time.Minute)
					got := w.send(d, role, r)
					if got.taken != taken || d.seen() != kept {
						t.Errorf("%s: taken %t, kept %s, want %s: %.300s", what, got.taken, d.seen(), kept, got.words)
					}
					for _, s := range says {
						if w.says && !strings.Contains(plain(got.words), plain(s)) {
							t.Errorf("%s: %.300s, want %s", what, got.words, s)
						}
					}
				}
				en := lang == "en"
				say := func(english, french string) string {
					if en {
						return english
					}
					return french
				}
				expect("a low", &lowest, true, "2026-02-01 low -6.5",
					say("Noted: low of -6.5 C, the night to Sunday 1 Feb.", "Noté, nuit jusqu'à dimanche 1er févr. : minimum de -6,5 C."))
				expect("again", &lowest, true, "2026-02-01 low -6.5", say("That is noted already: it counts once.", "C'est déjà noté."))
				expect("another", &lower, true, "2026-02-01 low -7.0", say("low of -7 C, not -6.5 C", "minimum de -7 C au lieu de -6,5 C"))
				expect("in °F", &wrong, false, "2026-02-01 low -7.0",
					say("24 C is far from the -4 C that the weather had. Is it 24 F? Then write: low 24 F.",
						"24 C, c'est loin des -4 C de la météo. Est-ce 24 F? Écrivez alors : min 24 F."))
				expect("dripping", &drips, true, "2026-02-01 low -7.0; 2026-02-01 dripping NaN",
					say("Noted: dripping at 3:10 pm on Sunday.", "Noté : ça coule dimanche à 15 h 10."))
				expect("not dripping", &still, true, "2026-02-01 low -7.0; 2026-02-01 not_dripping NaN",
					say("Noted: not dripping", "Noté : ça ne coule pas"))
				half := reading{"half full", "à moitié", "half_full", none, ""}
				expect("half full", &half, true, "2026-02-01 low -7.0; 2026-02-01 not_dripping NaN; 2026-02-01 half_full NaN",
					say("Noted: half full", "Noté : à moitié"))
				if w.name != "text" {
					return
				}
				undo := reading{en: "undo", fr: "annuler"}
				expect("undo half full", &undo, true, "2026-02-01 low -7.0; 2026-02-01 not_dripping NaN",
					say("Taken back: half full", "Retiré : à moitié"))
				expect("undo", &undo, true, "2026-02-01 low -7.0; 2026-02-01 dripping NaN",
					say("Taken back: not dripping, Sunday 1 Feb 3:12 pm.", "Retiré : ça ne coule pas, dimanche 1er févr. 15 h 12."))
				expect("undo", &undo, true, "2026-02-01 low -7.0")
				expect("undo", &undo, true, "2026-02-01 low -6.5",
					say("Taken back: low of -7 C", "Retiré : minimum de la nuit jusqu'à dimanche 1er févr. : -7 C."))
				two := reading{en: "low 22 F high 41 F yesterday", fr: "min 22 F max 41 F hier"}
				expect("two", &two, true, "2026-02-01 low -6.5; 2026-01-31 low -5.6; 2026-01-31 high 5.0")
				expect("undo two", &undo, true, "2026-02-01 low -6.5")
				d.byText(role, &round{group: "north", litres: 40})
				expect("undo of a visit", &undo, true, "2026-02-01 low -6.5")
				asks := reading{en: "low", fr: "min"}
				expect("no figure", &asks, true, "2026-02-01 low -6.5",
					say("Write it like: low -4 C; high 5 C; drips; no drip; tastes sweet; tastes off; half full.",
						"Écrivez comme : min -4 C; max 5 C; coule; coule pas; go"))
			})
		}
	}
}

// A sign of any name, and open buds, are taken by every way, once a day; buds in February
// and a sign without a name are asked about, and nothing is kept of them.
func TestSignsAndBudsAtAllDoors(t *testing.T) {
	frogs, buds, nameless := reading{"sign frogs", "signe frogs", "sign", none, "frogs"},
		reading{"buds are open", "bourgeons ouverts", "buds", none, ""}, reading{"sign", "signe", "sign", none, ""}
	for i := range seenWays {
		w, lang := &seenWays[i], []string{"en", "fr"}[i%2]
		t.Run(w.name+" "+lang, func(t *testing.T) {
			d := openDoors(t, lang)
			send := func(what string, r *reading, kept string) {
				t.Helper()
				d.now = d.now.Add(2 * time.Minute)
				if got := w.send(d, auth.Keeper, r); d.seen() != kept {
					t.Errorf("%s: kept %s, want %s: %.300s", what, d.seen(), kept, got.words)
				}
			}
			send("buds in February", &buds, "")
			send("a sign without a name", &nameless, "")
			send("a sign", &frogs, "2026-02-01 sign NaNfrogs")
			send("again", &frogs, "2026-02-01 sign NaNfrogs")
			d.now = d.now.AddDate(0, 3, 0)
			send("buds in May", &buds, "2026-02-01 sign NaNfrogs; 2026-05-01 buds NaN")
		})
	}
}

// What a way out writes is what a way in reads.
func TestSeenGoesOutAndIn(t *testing.T) {
	d := openDoors(t, "en")
	for _, text := range []string{"low -6.5", "high 3", "no drip north"} {
		d.byText(auth.Crew, &round{group: text, litres: none})
		d.now = d.now.Add(time.Minute)
	}
	kept := d.seen()
	out, err := run(t, d.env, "records", "notes", "--config", d.config, "--now", d.now.Format(time.RFC3339))
	page := d.ask("GET", "/site/hill/observations.csv", "", "", "Cookie", d.sessions[auth.Viewer])
	if err != nil || out != page.Body.String() || strings.Count(out, "\n") != 4 {
		t.Fatalf("%v: %q, and the page: %q", err, out, page.Body)
	}
	if again, err := run(t, d.env, "records", "import", written(t, "notes.csv", out), "--config", d.config, "--now",
		d.now.Format(time.RFC3339)); err != nil || again != "0 lows and highs added, 3 already there.\n" || d.seen() != kept {
		t.Errorf("%v %q: kept %s, want %s", err, again, d.seen(), kept)
	}
	list := d.ask("GET", "/api/v1/sites/hill/observations", "", "", "Cookie", d.sessions[auth.Viewer])
	if !strings.Contains(list.Body.String(), `"kind":"not_dripping"`) || strings.Contains(list.Body.String(), "Cody") {
		t.Errorf("%.400s", list.Body)
	}
	rows := struct{ id string }{}
	var all []struct{ ID, Kind string }
	if err := json.Unmarshal(list.Body.Bytes(), &all); err != nil {
		t.Fatal(err)
	}
	for _, o := range all {
		if o.Kind == "high" {
			rows.id = o.ID
		}
	}
	if w := d.ask("DELETE", "/api/v1/sites/hill/observations/"+rows.id, "", "", "Cookie",
		d.sessions[auth.Viewer]); w.Code != http.StatusForbidden {
		t.Errorf("a viewer takes it out: %d", w.Code)
	}
	if w := d.ask("POST", "/site/hill/observations", "application/x-www-form-urlencoded", url.Values{"take_back": {rows.id}}.Encode(),
		"Cookie", d.sessions[auth.Keeper]); w.Code != http.StatusSeeOther || strings.Contains(d.seen(), "high") {
		t.Errorf("the keeper takes it out: %d, kept %s", w.Code, d.seen())
	}
	if w := d.ask("DELETE", "/api/v1/sites/hill/observations/"+rows.id, "", "", "Cookie",
		d.sessions[auth.Keeper]); w.Code != http.StatusNotFound {
		t.Errorf("taken out twice: %d", w.Code)
	}
}
