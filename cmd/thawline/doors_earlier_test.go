package main

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"thawline/cmd/thawline/internal/auth"
)

// A text says of which day its round was, before or after it, and the answer names that day;
// what only looks like a day stays what it was.
func TestTextsOfEarlierDays(t *testing.T) {
	for lang, says := range map[string][][3]string{
		"en": {{"yesterday north 60 L", "Noted: North slope, Sat 31 Jan: 60 litres.", "north 2026-01-31 60"},
			{"lane 40 L 2.1 Friday 5 pm", "Noted: Lane, Fri 30 Jan 5 pm: 40 litres at 2.1 %.", "lane 2026-01-30 17:00 40"},
			{"brook not checked Saturday 9 am", "Noted: no sap from Brook, Sat 31 Jan 9 am. Not checked: no figure, left to the next visit.", "brook 2026-01-31 09:00 NaN"},
			{"brook 40 L last Thursday", "", ""}, {"brook 45 last night", "Noted: Brook, Sat 31 Jan 8 pm: 45 litres.", "brook 2026-01-31 20:00 45"},
			{"far 24 L yesterday 2.1 thanks", "Noted: Far, Sat 31 Jan: 24 litres at 2.1 %.", "far 2026-01-31 24"},
			{"this morning far 10 L", "Noted: Far, Sun 1 Feb 8 am: 10 litres.", "far 2026-02-01 08:00 10"},
			{"tomorrow north 60 L", "", ""}, {"north 60 L 5 pm", "", ""}, {"oops north 60 L 2.1", "", ""}, {"north 60 L soon", "", ""}},
		"fr": {{"far 9 litre hier 2,1, merci beaucoup", "Noté : Far, sam. 31 janv. : 9 litres à 2,1 %.", "far 2026-01-31 9"}, {"hier north 60 L", "Noté : North slope, sam. 31 janv. : 60 litres.", "north 2026-01-31 60"},
			{"lane 40 litres hier soir", "Noté : Lane, sam. 31 janv. 18 h : 40 litres.", "lane 2026-01-31 18:00 40"}},
	} {
		d := openDoors(t, lang)
		for _, c := range says {
			d.now = d.now.Add(2 * time.Minute)
			before := d.dated()
			got := d.byText(auth.Crew, &round{group: c[0], litres: none})
			now := strings.Join(slices.DeleteFunc(d.dated(), func(one string) bool { return slices.Contains(before, one) }), "; ")
			if c[1] != "" && got.words != c[1] || now != c[2] || c[1] == "" && strings.HasPrefix(got.words, "Not") {
				t.Errorf("%s: %s; kept %q", c[0], got.words, now)
			}
		}
	}
}

// dated are the records of the winter with their days, or moments.
func (d *doors) dated() (out []string) {
	d.t.Helper()
	stored, err := d.app.Archive.Visits(d.t.Context(), "hill", d.now.AddDate(0, -1, 0), d.site.Zone)
	if err != nil {
		d.t.Fatal(err)
	}
	for i := range stored {
		v := &stored[i]
		at := v.CollectedAt.In(d.site.Zone).Format("2006-01-02 15:04")
		if v.DateOnly {
			at = at[:len(time.DateOnly)]
		}
		out = append(out, fmt.Sprintf("%s %s %g", v.Group, at, v.VolumeL))
	}
	return out
}
