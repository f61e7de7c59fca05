package daemon

import (
	"encoding/json"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/alerts/message"
	"thawline/alerts/message/sections"
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

// One answer about gathering: through seasons worked by the plan, every evening, the text,
// what there is to do, the calendar and the document for programs name the same groups and
// the same hours.
func TestEverySurfaceQuotesTheWork(t *testing.T) {
	site, truth := kettle(t)
	site.Groups = append(site.Groups,
		forecast.Group{ID: "hollow", Name: "hollow", Taps: 30, Method: "bag", ContainerL: 11, Tapped: site.Groups[0].Tapped},
		forecast.Group{ID: "lane", Name: "lane", Taps: 140, Method: "tubing_gravity", TankL: 568, Tapped: site.Groups[0].Tapped})
	site.Groups[0].ContainerL = 7.6
	from := time.Date(2026, 3, 3, 23, 0, 0, 0, time.UTC)
	d := started(t, filepath.Join(t.TempDir(), "work.db"), settings(site, &oracle{truth: truth, place: site.Place}, nil), from)
	w, err := d.Words(message.Reader{Language: "en", Units: units.US})
	if err != nil {
		t.Fatal(err)
	}
	days := 30
	if testing.Short() {
		days = 10
	}
	var rounds []forecast.CrewRound
	due, told := 0, 0
	for day := range days {
		now := from.AddDate(0, 0, day)
		for _, r := range rounds { // what was planned the evening before is done
			if r.Start.After(now) {
				break
			}
			for _, g := range r.Groups {
				v := records.Visit{Site: site.ID, Group: g.Group, CollectedAt: r.Start, Taps: 1, VolumeL: math.Max(g.VolumeL, 1), BrixPct: math.NaN()}
				for _, group := range site.Groups {
					if group.ID == g.Group {
						v.Taps = group.Taps
					}
				}
				if _, err := d.Archive.PutVisits(t.Context(), []records.Visit{v}, "robin", r.Start); err != nil {
					t.Fatal(err)
				}
			}
		}
		if day == days*2/3 {
			if _, err := d.Archive.PutTaps(t.Context(), []records.TapEvent{{Site: site.ID, Group: "hollow", Kind: records.Pulled, On: now}}, "robin", now); err != nil {
				t.Fatal(err)
			}
		}
		o, err := d.look(t.Context(), &d.settings.Sites[0], now)
		if err != nil {
			t.Fatal(err)
		}
		if o.Work.Group("hollow").Pulled != (day >= days*2/3) {
			t.Errorf("%s: pulled %t", now, o.Work.Group("hollow").Pulled)
		}
		rounds = o.Work.Rounds
		due += len(o.Work.Due())
		told += agrees(t, &d.settings.Sites[0], o, w, now)
	}
	if due < days/5 || told != due {
		t.Errorf("%d groups were due in %d evenings, %d named", due, days, told)
	}
}

// agrees holds what people see of an outlook against its work, and counts the groups that
// the text names.
func agrees(t *testing.T, site *forecast.Site, o *forecast.Outlook, w *message.Words, now time.Time) (named int) {
	t.Helper()
	due := map[string]forecast.GroupWork{}
	for _, g := range o.Work.Due() {
		due[g.Group] = g
	}
	text := w.Evening(o)
	_, gather, _ := strings.Cut(text, "Gather ")
	gather, _, _ = strings.Cut(gather, ":")
	switch {
	case strings.Contains(gather, "all 3 groups"):
		named = 3
	case strings.Contains(gather, "2 groups"):
		named = 2
	default:
		for _, g := range site.Groups {
			if strings.Contains(gather, g.Name) {
				named++
				if _, is := due[g.ID]; !is {
					t.Errorf("%s: %q names %s", now, text, g.Name)
				}
			}
		}
	}
	if named != len(due) {
		t.Errorf("%s: %d groups due, %q", now, len(due), text)
	}
	var todo []string
	for _, part := range sections.Of(o, w, units.US) {
		if part.Name == sections.ToDo {
			for _, line := range part.Lines {
				todo = append(todo, line.Text)
			}
		}
	}
	for i := range o.Work.Groups {
		g := &o.Work.Groups[i]
		said := ""
		for _, line := range todo {
			if strings.HasPrefix(line, "Gather "+g.Group+" ") {
				said = line
			}
		}
		switch {
		case g.Pulled && (strings.Contains(text+strings.Join(todo, " "), g.Group) || g.Decision != forecast.NoWork):
			t.Errorf("%s: %s is pulled and is named", now, g.Group)
		case g.Decision != forecast.Gather && said != "":
			t.Errorf("%s: %s is %s, and to do is %q", now, g.Group, g.Decision, said)
		case g.Decision == forecast.Gather && !strings.Contains(said, w.Weekday(*g.GoAt)+" at "+w.Clock(*g.GoAt)):
			t.Errorf("%s: %s goes at %s, and to do is %q", now, g.Group, g.GoAt, said)
		}
	}
	starts := map[time.Time]bool{}
	for _, r := range o.Work.Rounds {
		starts[r.Start.UTC()] = true
		for _, g := range r.Groups {
			if o.Work.Group(g.Group).Pulled {
				t.Errorf("%s: a round goes to %s, which is pulled", now, g.Group)
			}
		}
	}
	for _, e := range entriesOf(site, o, w, now) {
		if strings.Contains(e.UID, "round") && !starts[e.Start.UTC()] {
			t.Errorf("%s: the calendar has a round at %s", now, e.Start)
		}
	}
	var document struct {
		Work forecast.Work `json:"work"`
	}
	data, err := json.Marshal(o)
	if err == nil {
		err = json.Unmarshal(data, &document)
	}
	if err != nil || len(document.Work.Due()) != len(due) {
		t.Errorf("%s: %v, %d due in the document", now, err, len(document.Work.Due()))
	}
	return named
}
