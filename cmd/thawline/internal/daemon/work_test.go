package daemon

import (
	"encoding/json"
	"math"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/message"
	"thawline/alerts/message/sections"
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/units"
	"thawline/forecast/volume"
	"thawline/forecast/weather"
)

// bushAtWork is a bush over one stretch of weather, looked at every evening.
type bushAtWork struct {
	site   forecast.Site
	truth  weather.Series
	from   time.Time // an evening
	days   int
	pulled string // group whose taps are pulled after two thirds of the days
}

// bushesAtWork are the demonstration with three groups, the hill in three springs and
// Wisconsin in two, and an invented bush of 480 taps in six groups with a gathering tank of
// 60 US gallons and seven helpers with hours.
func bushesAtWork(t *testing.T) map[string]bushAtWork {
	t.Helper()
	demo, invented := kettle(t)
	demo.Groups[0].ContainerL = 7.6
	demo.Groups = append(demo.Groups,
		forecast.Group{ID: "hollow", Name: "hollow", Taps: 30, Method: "bag", ContainerL: 11, Tapped: demo.Groups[0].Tapped},
		forecast.Group{ID: "lane", Name: "lane", Taps: 140, Method: "tubing_gravity", TankL: 568, Tapped: demo.Groups[0].Tapped})
	hill15, spring15 := hill(t)
	hill15.Groups[0].ContainerL = 7.6
	large := hill15
	large.Groups = nil
	for i, taps := range []int{120, 100, 80, 70, 60, 50} {
		id := "row-" + strconv.Itoa(i+1)
		large.Groups = append(large.Groups,
			forecast.Group{ID: id, Name: id, Taps: taps, Method: volume.Pail, ContainerL: 15, Tapped: hill15.Groups[0].Tapped})
	}
	large.Gathering.TankL = 227
	for i, id := range []string{"ash", "birch", "cedar", "elm", "fir", "larch", "oak"} {
		large.Gathering.People = append(large.Gathering.People, forecast.PersonName{ID: id, Name: strings.ToUpper(id[:1]) + id[1:]})
		for day := time.Sunday; day <= time.Saturday; day++ {
			from, to := 15*time.Hour, 19*time.Hour // after school
			if i == 0 || day == time.Saturday || day == time.Sunday {
				from, to = 8*time.Hour, 17*time.Hour
			}
			large.Gathering.Free = append(large.Gathering.Free, forecast.Free{Who: id, Weekday: day, From: from, To: to})
		}
	}
	march := func(year, day int) time.Time { return time.Date(year, 3, day, 18, 30, 0, 0, demo.Zone) }
	all := map[string]bushAtWork{
		"demonstration":       {demo, invented, march(2026, 3), 30, "hollow"},
		"hill 2015":           {hill15, spring15, march(2015, 5), 40, ""},
		"hill 2015, 480 taps": {large, spring15, march(2015, 5), 40, "row-3"},
	}
	for name, s := range springsByDailyAir(t) {
		s.site.Groups[0].ContainerL = 7.6
		all[name] = bushAtWork{s.site, s.truth, s.site.Groups[0].Tapped.Add(10*time.Hour + 30*time.Minute), 40, ""}
	}
	return all
}

// One answer about gathering: through seasons worked by the plan, every evening, the text,
// what there is to do, the calendar, the alerts and the document for programs name the same
// groups and the same hours.
func TestEverySurfaceQuotesTheWork(t *testing.T) {
	if testing.Short() {
		t.Skip("seasons are lived through in the long pass")
	}
	for name, b := range bushesAtWork(t) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			days := b.days
			d := started(t, filepath.Join(t.TempDir(), "work.db"), settings(b.site, &oracle{truth: b.truth, place: b.site.Place}, nil),
				b.from)
			w, err := d.Words(message.Reader{Language: "en", Units: units.US})
			if err != nil {
				t.Fatal(err)
			}
			site := &d.settings.Sites[0]
			var rounds []forecast.CrewRound
			due, told := 0, 0
			for day := range days {
				now := b.from.AddDate(0, 0, day)
				done(t, d, site, rounds, now)
				if b.pulled != "" && day == days*2/3 {
					if _, err := d.Archive.PutTaps(t.Context(),
						[]records.TapEvent{{Site: site.ID, Group: b.pulled, Kind: records.Pulled, On: now}}, "robin", now); err != nil {
						t.Fatal(err)
					}
				}
				o, err := d.look(t.Context(), site, now, false)
				if err != nil {
					t.Fatal(err)
				}
				if b.pulled != "" && o.Work.Group(b.pulled).Pulled != (day >= days*2/3) {
					t.Errorf("%s: pulled %t", now, o.Work.Group(b.pulled).Pulled)
				}
				rounds = o.Work.Rounds
				due += len(o.Work.Due())
				told += agrees(t, site, o, w, now)
				alertsAgree(t, site, o, now)
			}
			if due < days/6 || told != due {
				t.Errorf("%d groups were due in %d evenings, %d named", due, days, told)
			}
		})
	}
}

// done writes down the rounds that were planned the evening before.
func done(t *testing.T, d *Daemon, site *forecast.Site, rounds []forecast.CrewRound, now time.Time) {
	t.Helper()
	for _, r := range rounds {
		if r.Start.After(now) {
			return
		}
		for _, g := range r.Groups {
			v := records.Visit{Site: site.ID, Group: g.Group, CollectedAt: r.Start, Taps: 1, VolumeL: math.Max(g.VolumeL, 1),
				BrixPct: math.NaN()}
			for i := range site.Groups {
				if site.Groups[i].ID == g.Group {
					v.Taps = site.Groups[i].Taps
				}
			}
			if _, err := d.Archive.PutVisits(t.Context(), []records.Visit{v}, "robin", r.Start); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// nothing is a memory of nothing told.
type nothing struct{}

func (nothing) Last(string, alerts.Kind, string) (alerts.Decision, time.Time, bool, error) {
	return alerts.Decision{}, time.Time{}, false, nil
}

// alertsAgree holds what would be told of groups in the evening, and of an alert by itself
// at that moment, against the work: nobody is sent to what is tipped out or left in vain, at
// no other hour than the plan's, and never in the dark.
func alertsAgree(t *testing.T, site *forecast.Site, o *forecast.Outlook, now time.Time) {
	t.Helper()
	for _, evening := range []bool{true, false} {
		list, err := alerts.Decide(o, nothing{}, alerts.Moment{Now: now, Evening: evening}, alerts.Usual)
		if err != nil {
			t.Fatal(err)
		}
		for i := range list {
			f := &list[i].Facts
			g := o.Work.Group(f.GroupID)
			switch list[i].Kind {
			case alerts.HardFreeze:
				if g.Decision == forecast.TipOut {
					t.Errorf("%s: frost on %s, which is tipped out", now, g.Group)
				}
			case alerts.Overflow:
				if g.Decision == forecast.TipOut {
					t.Errorf("%s: %s runs over, and is tipped out", now, g.Group)
				}
				if g.Decision == forecast.Gather && g.GoAt.Before(*g.AloneOverAt) &&
					(f.At.Before(*g.GoAt) || f.At.After(*g.Latest) || f.What != "") {
					t.Errorf("%s: %s by %s, and the plan goes from %s to %s", now, g.Group, f.At, g.GoAt, g.Latest)
				}
				const civilDeg = -6
				if weather.SunAt(f.At, site.Place.LatitudeDeg, site.Place.LongitudeDeg).ElevationDeg < civilDeg {
					t.Errorf("%s: %s in the dark, by %s; %s, goes %v to %v, over %s", now, g.Group, f.At, g.Decision, g.GoAt, g.Latest,
						g.AloneOverAt)
				}
			case alerts.BoilBy:
				if f.What == "tip_out" != g.Spoilt(now) {
					t.Errorf("%s: %q of %s, which keeps until %s", now, f.What, g.Group, g.KeepsUntil)
				}
			case alerts.Evening:
				var named []string
				for _, r := range f.Rounds {
					if g := o.Work.Group(r.Group); g.GoAt == nil || !g.GoAt.Equal(r.At) {
						t.Errorf("%s: the evening names %s at %s", now, r.Group, r.At)
					}
					named = append(named, r.Group)
				}
				if len(named) != len(o.Work.Due()) {
					t.Errorf("%s: the evening names %v", now, named)
				}
			}
		}
	}
}

var howMany = regexp.MustCompile(`(?:all )?([0-9]+) groups? `)

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
	if n := howMany.FindStringSubmatch(gather); n != nil {
		named, _ = strconv.Atoi(n[1])
	} else {
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
