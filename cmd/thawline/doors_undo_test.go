package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/daemon"
	"thawline/cmd/thawline/internal/hooks"
	"thawline/forecast"
	"thawline/forecast/archive"
)

// Who may not write, writes by no way, and is told so.
func TestRolesAtAllDoors(t *testing.T) {
	for _, lang := range []string{"en", "fr"} {
		d := openDoors(t, lang)
		day := d.now
		for _, role := range []auth.Role{auth.Viewer, auth.Crew, auth.Keeper} {
			for i := range ways {
				w := &ways[i]
				if w.writes == nil {
					continue
				}
				day = day.AddDate(0, 0, 1)
				d.now = day
				got := w.send(d, role, &round{group: "north", litres: 80})
				kept := d.kept(day) != ""
				if may := w.writes[role] == 1; got.taken != may || kept != may {
					t.Errorf("%s as %s: taken %t, kept %t, want %t: %.200s", w.name, role, got.taken, kept, may, got.words)
				}
				barred := map[string]string{"en": "You may look on, but not write records.",
					"fr": "Vous pouvez consulter, mais pas noter de récolte."}[lang]
				if w.name == "text" && strings.Contains(got.words, barred) != (role == auth.Viewer) {
					t.Errorf("%s is told %s", role, got.words)
				}
			}
		}
	}
}

// gauge is a channel that hears one.
type gauge struct{ heard []channel.Heard }

func (g *gauge) Send(context.Context, channel.Message) (string, error) { return "", nil }

func (g *gauge) Listen(_ context.Context, heard func(channel.Heard), _ func(error)) error {
	for _, h := range g.heard {
		heard(h)
	}
	return nil
}

type noWeather struct{}

func (noWeather) Ask(context.Context, *forecast.Site, time.Time) (forecast.Inputs, error) {
	return forecast.Inputs{}, errors.New("no weather here")
}

// byGauge lets a tank rise through the day before the clock's by some litres, up to 3 pm.
func (d *doors) byGauge(tank daemon.Tank, day time.Time, readings ...float64) {
	d.t.Helper()
	g := &gauge{}
	begin := day.Add(-time.Duration(len(readings)-1) * time.Minute)
	for i, litres := range readings {
		g.heard = append(g.heard, channel.Heard{Site: "hill", Tank: tank.ID,
			Body: fmt.Appendf(nil, `{"ts":%d,"value":%g,"unit":"L"}`, begin.Add(time.Duration(i)*time.Minute).Unix(), litres)})
	}
	one := &daemon.Daemon{Archive: d.app.Archive, Ledger: d.app.Daemon.Ledger, Log: slog.New(slog.DiscardHandler),
		Metrics: hooks.NewMetrics("test"), PlaceKey: app.PlaceKey}
	if err := one.Use(daemon.Settings{Sites: []forecast.Site{*d.site}, Tanks: []daemon.Tank{tank},
		Channels: map[string]channel.Channel{"gauge": g}, Asker: noWeather{}, EveningAt: 18 * time.Hour, RefreshEvery: 6 * time.Hour,
		Thresholds: alerts.Usual}, day); err != nil {
		d.t.Fatal(err)
	}
	one.Listen(d.t.Context(), func() time.Time { return day })
	one.Step(d.t.Context(), time.Date(day.Year(), day.Month(), day.Day()+1, 0, 41, 0, 0, day.Location()))
}

// A gauge's record is what the same litres by hand would be: they are known again, other
// ones are a load, a tank that was filled several times holds as often as much, and what
// no tap gives is left out.
func TestTheGaugeIsADoorToo(t *testing.T) {
	own := daemon.Tank{Site: "hill", ID: "own", VolumeL: 500, Groups: []daemon.Share{{Group: "far", Part: 1}}}
	for i := range ways {
		w := &ways[i]
		t.Run(w.name, func(t *testing.T) {
			d := openDoors(t, "en")
			day := d.now.AddDate(0, 0, 1)
			d.byGauge(own, day, 0, 100, 200, 300)
			want := `far +0s 50 taps 300 L NaN % "gauge of tank own"`
			if got := d.kept(day); got != want {
				t.Fatalf("kept %s, want %s", got, want)
			}
			d.now = day.Add(5 * time.Minute)
			w.send(d, auth.Keeper, &round{group: "far", litres: 300})
			if got := d.kept(day); got != want {
				t.Errorf("the same by %s: kept %s", w.name, got)
			}
			d.now = day.Add(time.Hour)
			w.send(d, auth.Keeper, &round{group: "far", litres: 50})
			if got := d.kept(day); got != want+`; far +1h0m0s 50 taps 50 L NaN % ""` {
				t.Errorf("a load by %s: kept %s", w.name, got)
			}
		})
	}
	d := openDoors(t, "en")
	day := d.now.AddDate(0, 0, 1)
	d.byGauge(own, day, 0, 450, 0, 450, 0, 450)
	if got := d.kept(day); got != `far +0s 50 taps 1350 L NaN % "gauge of tank own"` {
		t.Errorf("filled three times: %s", got)
	}
	d = openDoors(t, "en")
	d.byGauge(own, day, 0, 450, 0, 450, 0, 450, 0, 450, 0, 450, 0, 450, 0, 450)
	if got := d.kept(day); got != "" {
		t.Errorf("63 litres a tap: %s", got)
	}
}

// The last entry is taken back by text, on the page and by command, each person's own.
func TestUndoThroughTheDoors(t *testing.T) {
	for _, lang := range []string{"en", "fr"} {
		d := openDoors(t, lang)
		day := d.now
		undo := map[string]string{"en": "undo", "fr": "annuler"}[lang]
		for i, role := range []auth.Role{auth.Crew, auth.Keeper, auth.Crew} {
			d.now = day.Add(time.Duration(i) * 30 * time.Minute)
			if got := d.byText(role, &round{group: "north", litres: float64(40 + i)}); !got.taken {
				t.Fatal(got.words)
			}
		}
		want := `north +0s 60 taps 40 L NaN % ""; north +30m0s 60 taps 41 L NaN % ""`
		d.now = d.now.Add(time.Minute)
		got := d.byText(auth.Crew, &round{group: undo, litres: none})
		if says := map[string]string{"en": "Taken back: North slope Sun 1 Feb 4 pm, 42 litres.",
			"fr": "Annulé : North slope dim. 1er févr. 16 h, 42 litres."}[lang]; got.words != says || d.kept(day) != want {
			t.Errorf("%s; kept %s", got.words, d.kept(day))
		}
		if got := d.byText(auth.Viewer, &round{group: undo, litres: none}); d.kept(day) != want || strings.Contains(got.words, "40") {
			t.Errorf("a viewer takes back: %s", got.words)
		}
		// Of the crew's link, who is somebody else, by the button beside the entry.
		d.now = day.Add(5 * time.Hour)
		d.byForm(auth.Crew, &round{group: "north", litres: 20})
		page := d.ask("GET", "/site/hill/rounds", "", "", "Cookie", d.sessions[auth.Crew]).Body.String()
		button := regexp.MustCompile(`/undo"><input type="hidden" name="entry" value="(\d+)">`).FindStringSubmatch(page)
		if button == nil {
			t.Fatalf("no button to take it back: %s", page)
		}
		for role, code := range map[auth.Role]int{auth.Viewer: http.StatusForbidden, auth.Crew: http.StatusSeeOther} {
			if w := d.ask("POST", "/site/hill/undo", "application/x-www-form-urlencoded", "entry="+button[1], "Cookie",
				d.sessions[role]); w.Code != code {
				t.Errorf("%s takes it back: %d", role, w.Code)
			}
		}
		if d.kept(day) != want {
			t.Errorf("kept %s", d.kept(day))
		}
		if w := d.ask("POST", "/site/hill/undo", "application/x-www-form-urlencoded", "entry=1", "Cookie",
			d.sessions[auth.Crew]); w.Code != http.StatusForbidden {
			t.Errorf("somebody else's: %d", w.Code)
		}
		// A whole file, by page and by command; not by text.
		d.now = day.Add(6 * time.Hour)
		d.bySheet(auth.Keeper, &round{group: "lane", litres: 20})
		d.now = d.now.Add(time.Minute)
		d.byText(auth.Keeper, &round{group: undo, litres: none})
		if got := d.kept(day); got != `north +0s 60 taps 40 L NaN % ""; lane +6h0m0s 100 taps 20 L NaN % ""` {
			t.Errorf("kept %s", got)
		}
		number, err := d.app.Archive.LastEntry(t.Context(), "hill", "kim", "")
		if err != nil {
			t.Fatal(err)
		}
		d.ask("POST", "/site/hill/undo", "application/x-www-form-urlencoded", fmt.Sprint("entry=", number), "Cookie",
			d.sessions[auth.Keeper])
		d.byImport("", &round{group: "brook", litres: 20})
		if out, err := run(t, d.env, "records", "undo", "--config", d.config, "--now", d.now.Format(time.RFC3339)); err != nil ||
			d.kept(day) != `north +0s 60 taps 40 L NaN % ""` {
			t.Errorf("%v %s; kept %s", err, out, d.kept(day))
		}
		var stored []archive.Stored
		if stored, err = d.app.Archive.Visits(t.Context(), "hill", day.Add(-time.Hour), time.UTC); err != nil || len(stored) != 1 {
			t.Fatal(err, stored)
		}
		if w := d.ask("DELETE", "/api/v1/sites/hill/records/"+stored[0].ID, "", "", "Cookie", d.sessions[auth.Crew], "If-Match",
			`"1"`); w.Code != http.StatusNoContent || d.kept(day) != "" {
			t.Errorf("%d; kept %s", w.Code, d.kept(day))
		}
	}
}

// Texts without the gateway's id are told apart by their words and the minute: the same
// words over the full hour count once, and two honest loads within it count twice.
func TestTextsWithoutAnID(t *testing.T) {
	d := openDoors(t, "en")
	day := d.now
	for _, at := range []struct {
		after time.Duration
		litres,
		kept float64
	}{{58 * time.Minute, 80, 80}, {61 * time.Minute, 80, 80}, {75 * time.Minute, 80, 160}, {90 * time.Minute, 30, 190}} {
		d.now = day.Add(at.after)
		d.byText(auth.Crew, &round{group: "north", litres: at.litres})
		stored, err := d.app.Archive.Visits(t.Context(), "hill", day, time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for i := range stored {
			sum += stored[i].VolumeL
		}
		if sum != at.kept {
			t.Errorf("after %s: %g L, want %g", at.after, sum, at.kept)
		}
	}
	// The gateway calls again within the minute: no second answer.
	before, err := d.app.Daemon.Ledger.RecentOf(t.Context(), []string{"hill"}, 100)
	if err != nil {
		t.Fatal(err)
	}
	d.now = d.now.Add(20 * time.Second)
	d.ask("POST", d.texts, "application/x-www-form-urlencoded", url.Values{"From": {phones[auth.Crew]}, "Body": {"north 30 L"}}.Encode())
	if now, err := d.app.Daemon.Ledger.RecentOf(t.Context(), []string{"hill"}, 100); err != nil || len(now) != len(before) {
		t.Errorf("%v, %d answers more", err, len(now)-len(before))
	}
}
