package daemon

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/message"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

// Once all taps are pulled the evening thanks everybody with figures, once, and says
// nothing of runs any more; a slip that is undone the same day is told to nobody, and
// what is tapped again is told of again.
func TestAClosedSeasonIsThankedForOnce(t *testing.T) {
	d, h, now := twoSlopes(t)
	at := now.Add(20 * time.Minute)
	taps(t, d, "hollow", records.Pulled, at)
	taps(t, d, "ridge", records.Pulled, at)
	events, err := d.Archive.TapEvents(t.Context(), "kettle", time.Time{}, time.UTC)
	if err != nil || len(events) != 2 {
		t.Fatal(err, events)
	}
	if o := d.Outlook(t.Context(), "kettle"); o.Season.Closed == nil {
		t.Fatalf("%+v", o.Season)
	}
	if err := d.Archive.UndoTap(t.Context(), events[1].ID, "wren", at.Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	d.Remake(t.Context(), at.Add(time.Minute))
	if o := d.Outlook(t.Context(), "kettle"); o.Season.Closed != nil {
		t.Fatal("undone, and closed all the same")
	}
	through(d, at.Add(2*time.Minute), at.AddDate(0, 0, 1))
	closing := func() (texts []string) {
		for _, m := range h.got {
			if m.Kind == alerts.Closed {
				texts = append(texts, m.Text)
			}
		}
		return texts
	}
	if said := closing(); len(said) > 0 {
		t.Errorf("a slip was told: %v", said)
	}

	at = at.AddDate(0, 0, 1)
	if err := d.Archive.UndoTap(t.Context(), events[1].ID, "wren", at); err != nil {
		t.Fatal(err)
	}
	d.Remake(t.Context(), at)
	h.got = nil
	through(d, at, at.AddDate(0, 0, 12))
	want := "Kettle: The taps are pulled: 6 visits, 250 gallons of sap, as much as 6 gallons of syrup. That was the season. Thank you all."
	if len(h.got) != 1 || h.got[0].Text != want {
		for _, m := range h.got {
			t.Errorf("%s %s: %s", m.MadeAt.Format(time.RFC3339), m.Kind, m.Text)
		}
	}
	w, err := message.NewWords(message.Reader{Language: "fr", Units: units.Metric})
	if err != nil {
		t.Fatal(err)
	}
	o := d.Outlook(t.Context(), "kettle")
	if said, want := w.Evening(o), "Kettle: Tout est désentaillé : 6 ramassages, 960 litres d'eau, soit environ 25 litres de sirop. La saison est finie. Merci à toute l'équipe."; said != want {
		t.Errorf("%s", said)
	}
	if text := surfaces(t, d, at.AddDate(0, 0, 12)); strings.Contains(text, "Strong run") || strings.Contains(text, "run tomorrow") ||
		strings.Contains(text, "BEGIN:VEVENT\r\nSTATUS:CONFIRMED") {
		t.Errorf("%s", text)
	}
	if evenings, err := d.Archive.Evenings(t.Context(), "kettle", "2026-03-22"); err != nil || len(evenings) > 0 {
		t.Errorf("%v: evenings that said nothing are kept: %s", err, evenings)
	}

	back := time.Date(2026, 4, 3, 12, 0, 0, 0, time.UTC)
	taps(t, d, "ridge", records.Tapped, back)
	h.got = nil
	through(d, back, back.AddDate(0, 0, 5))
	evenings := 0
	for _, m := range h.got {
		if m.Kind == alerts.Evening {
			evenings++
		}
	}
	if evenings == 0 || len(closing()) > 0 || d.Outlook(t.Context(), "kettle").Season.Closed != nil {
		t.Errorf("%d evenings since it was tapped again, %v", evenings, closing())
	}
}

// With no weather left nobody is told that tomorrow is not known once all taps are
// pulled; a gauge's water then is no record.
func TestNobodyWaitsOnceAllIsPulled(t *testing.T) {
	d, h, now := twoSlopes(t)
	taps(t, d, "hollow", records.Pulled, now.Add(time.Minute))
	taps(t, d, "ridge", records.Pulled, now.Add(2*time.Minute))
	d.settings.Tanks = []Tank{{Site: "kettle", ID: "tank", VolumeL: 500, Groups: []Share{{Group: "ridge", Part: 1}}}}
	through(d, now.Add(3*time.Minute), now.AddDate(0, 0, 1))
	h.got = nil
	d.settings.Asker = &oracle{dead: func(time.Time) bool { return true }}
	for hour := range 48 {
		if err := d.Archive.PutLevel(t.Context(), "kettle", "tank",
			records.Level{At: now.Add(time.Duration(24+hour) * time.Hour), Litres: float64(5 * hour)}); err != nil {
			t.Fatal(err)
		}
	}
	through(d, now.AddDate(0, 0, 1), now.AddDate(0, 0, 5))
	if len(h.got) > 0 {
		t.Errorf("%s: %s", h.got[0].Kind, h.got[0].Text)
	}
	if visits, err := d.Archive.Visits(t.Context(), "kettle", now, time.UTC); err != nil || len(visits) > 0 {
		t.Errorf("%v %+v", err, visits)
	}
}
