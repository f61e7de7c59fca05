package daemon

import (
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/message"
	"thawline/forecast"
)

// keepsUntil are decisions that the sap of groups keeps until three o'clock of a day, an hour later
// for each, as a look makes them.
func keepsUntil(day time.Time, of int, groups ...string) (out []telling) {
	for i, g := range groups {
		decision := alerts.Decision{Kind: alerts.BoilBy, Site: "bush", Key: "boil_by:" + g + ":1", Until: day.Add(24 * time.Hour),
			Facts: alerts.Facts{GroupID: g, Group: g, At: day.Add(time.Duration(19+i) * time.Hour), VolumeL: 40, OfGroups: of}}
		o := &forecast.Outlook{Bush: forecast.Bush{Name: "Bush"}, IssuedAt: day, Source: forecast.Source{AgeHours: 10}}
		out = append(out, telling{decision, func(w *message.Words) string { return w.Alert(&decision, o) }})
	}
	return out
}

// Five groups gathered on one day came as five lines nearly alike. They are one, in every form; each
// keeps a delivery of its own, and what keeps until another day has its own line.
func TestSeveralGroupsAreOneLine(t *testing.T) {
	now := time.Date(2026, 3, 9, 22, 30, 0, 0, time.UTC)
	ctx := t.Context()
	d, box := crewAndKeepers(t, now, func(s *Settings) { s.People = s.People[:1] })
	d.settings.Sites[0].Name = "Bush"
	tuesday := time.Date(2026, 3, 10, 0, 0, 0, 0, time.UTC)
	all := append(keepsUntil(tuesday, 6, "a", "b", "c", "d", "e"), keepsUntil(tuesday.AddDate(0, 0, 1), 6, "f")...)
	for range 2 {
		if err := d.recordAll(ctx, &d.settings.Sites[0], all, now); err != nil {
			t.Fatal(err)
		}
		d.deliver(ctx, now)
	}
	if len(box.got) != 1 {
		t.Fatalf("%d messages: %s", len(box.got), box.said())
	}
	m := box.got[0]
	for form, text := range map[string]string{"text": m.Text, "texted": m.Texted} {
		lines := strings.Split(text, "\n")
		if len(lines) != 2 || strings.Count(text, "Tuesday 3 pm") != 1 || !strings.Contains(lines[0], "a, b, c, d and e, about 55 gallons") ||
			!strings.Contains(lines[1], "The sap in f keeps until about Wednesday") || strings.Count(text, "Weather 10 hours old") != 1 {
			t.Errorf("%s: %s", form, text)
		}
	}
	if len(m.Kinds) != 6 {
		t.Errorf("kinds %v", m.Kinds)
	}
	list, err := d.Ledger.Recent(ctx, 20)
	if err != nil || len(list) != 6 {
		t.Fatalf("%v, %d deliveries", err, len(list))
	}
	for _, v := range list {
		if strings.Count(v.Words, "The sap in ") != 1 || strings.Contains(v.Words, " and ") && strings.Contains(v.Words, "gallons") {
			t.Errorf("a decision has lost its own words: %s", v.Words)
		}
	}
}

// A message that waited for the morning names no group that is of no use to tell of any more.
func TestAGroupThatExpiredIsNotNamed(t *testing.T) {
	late := time.Date(2026, 3, 10, 1, 30, 0, 0, time.UTC) // half past nine at home
	ctx := t.Context()
	d, box := crewAndKeepers(t, late, func(s *Settings) {
		s.People = s.People[:1]
		s.People[0].Quiet = channel.Quiet{From: 21 * time.Hour, To: 6 * time.Hour}
	})
	d.settings.Sites[0].Name = "Bush"
	all := keepsUntil(time.Date(2026, 3, 10, 0, 0, 0, 0, time.UTC), 3, "a", "b", "c")
	all[1].decision.Until = late.Add(time.Hour)
	if err := d.recordAll(ctx, &d.settings.Sites[0], all, late); err != nil {
		t.Fatal(err)
	}
	d.deliver(ctx, late)
	d.deliver(ctx, late.Add(9*time.Hour))
	if len(box.got) != 1 || !strings.Contains(box.got[0].Text, "a and c, about 20 gallons") {
		t.Error(box.said())
	}
}
