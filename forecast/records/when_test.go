package records

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"
)

// Days and times are read as people of both languages write them; what may be two days
// is asked back with both, and what never comes is refused.
func TestReadWhen(t *testing.T) {
	zone, err := time.LoadLocation("America/Montreal")
	if err != nil {
		t.Fatal(err)
	}
	now := time.Date(2026, 3, 20, 17, 30, 0, 0, zone) // a Friday
	for _, c := range []struct {
		text  string
		ahead bool
		want  string // a day alone, or with its time; "?" for two days, "" for none
	}{
		{"tomorrow 4pm", true, "2026-03-21 16:00"}, {"demain 16 h 30", true, "2026-03-21 16:30"},
		{"Tomorrow at 4:15 p.m.", true, "2026-03-21 16:15"},
		{"4 pm", true, "2026-03-20 16:00"}, {"à 16h", true, "2026-03-20 16:00"}, {"noon", false, "2026-03-20 12:00"},
		{"hier midi", false, "2026-03-19 12:00"},
		{"Sat 9am", true, "2026-03-21 09:00"}, {"Sat 9am", false, "2026-03-14 09:00"}, {"vendredi", false, "2026-03-20"},
		{"mardi", false, "2026-03-17"}, {"mar.", false, "2026-03-17"},
		{"11 mars", false, "2026-03-11"}, {"Mar 11", false, "2026-03-11"}, {"le 1er avril", false, "2025-04-01"},
		{"April 1st", true, "2026-04-01"}, {"11 févr. 2025", false, "2025-02-11"},
		{"Mar 11, 2025 5:30 pm", false, "2025-03-11 17:30"}, {"11-Mar-2025", false, "2025-03-11"}, {"mer 11 mars", false, "2026-03-11"},
		{"mar 17 mars", false, "2026-03-17"}, {"mar 17 mars 2026", false, "2026-03-17"},
		{"24/02/2013", false, "2013-02-24"}, {"02/24/2013", false, "2013-02-24"}, {"3/3/2025", false, "2025-03-03"},
		{"03/11/2025", false, "?"}, {"03/11", false, "?"}, {"20/3", false, "2026-03-20"},
		{"2026-03-20", false, "2026-03-20"}, {"2026-03-20 17:30", false, "2026-03-20 17:30"}, {"yesterday", false, "2026-03-19"},
		{"avant-hier", false, "2026-03-18"},
		{"hier soir", false, "2026-03-19 18:00"}, {"last night", false, "2026-03-19 20:00"}, {"this morning", false, "2026-03-20 08:00"},
		{"ce matin", false, "2026-03-20 08:00"}, {"Sunday evening", false, "2026-03-15 18:00"}, {"jeudi après-midi", false, "2026-03-19 15:00"},
		{"evening", false, "2026-03-20 18:00"}, {"evening 5 pm", false, ""}, {"soon evening", false, ""},
		{"", false, ""}, {"soon", false, ""}, {"30 Feb", false, ""}, {"tomorrow 25:00", true, ""}, {"13 pm", true, ""},
		{"jeudi 11 mars", false, ""}, {"11", false, ""}, {"mars", false, ""}, {"40/50/2025", false, ""},
	} {
		at, dateOnly, err := ReadWhen(c.text, now, zone, c.ahead)
		got := at.Format("2006-01-02 15:04")
		var two *TwoDays
		switch {
		case errors.As(err, &two):
			got = "?"
		case err != nil:
			got = ""
		case dateOnly:
			got = at.Format(time.DateOnly)
		}
		if got != c.want {
			t.Errorf("%q: got %q (%v), want %q", c.text, got, err, c.want)
		}
	}
	if _, _, err := ReadWhen("03/11/2025", now, zone, false); err == nil ||
		err.Error() != "03/11/2025 may be two days: write 2025-03-11 or 2025-11-03" {
		t.Error(err)
	}
}

// A sheet's days may be written as people write them, where they can be read one way.
func TestDaysOfSheets(t *testing.T) {
	n, err := ReadNotebook(strings.NewReader(
		"date,group,volume_l\n02/24/2013,a,1\n25.02.2013,a,1\n26 févr. 2013,a,1\n\"Feb 27, 2013\",a,1\n"), "log.csv", time.UTC)
	if err != nil || len(n.Visits) != 4 {
		t.Fatal(err)
	}
	for i, v := range n.Visits {
		if got, want := v.CollectedAt.Format(time.DateOnly), fmt.Sprintf("2013-02-%d", 24+i); got != want || !v.DateOnly {
			t.Errorf("got %s, want %s", got, want)
		}
	}
}
