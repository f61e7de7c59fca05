package alerts

import (
	"os"
	"testing"
	"time"
)

// quietScore is how often people were told that no run is likely in the coming week, or that a
// run may come though no day is clear, and what came.
type quietScore struct {
	said, soon, week map[string]int // by what was said: how often, a run within two days, within the week
	chance           map[string]float64
}

func newQuietScore() *quietScore {
	return &quietScore{map[string]int{}, map[string]int{}, map[string]int{}, map[string]float64{}}
}

// add holds what was told against the days that came; as is what it counts as.
func (q *quietScore) add(s *springtime, d *Decision, at time.Time, as string) {
	today := s.dayOf(at.In(s.site.Zone).Format(time.DateOnly))
	if d.Kind != QuietWeek || today < 0 || today+quietDays >= len(s.dates) {
		return
	}
	q.said[as]++
	q.chance[as] += d.Facts.Chance
	for ahead := 1; ahead <= quietDays; ahead++ {
		if s.ran(today + ahead) {
			if ahead <= 2 {
				q.soon[as]++
			}
			q.week[as]++
			return
		}
	}
}

// every goes through evenings as if nothing was told on any before.
func (q *quietScore) every(t *testing.T, s *springtime, list []evening) {
	t.Helper()
	for _, e := range list {
		r := rules{o: e.outlook, site: "bush", spring: springOf(&e.outlook.Season, &e.outlook.Work), memory: past{},
			at: Moment{Now: e.at, Evening: true}, t: Usual, zone: s.site.Zone}
		r.quietWeek()
		for i := range r.out {
			q.add(s, &r.out[i], e.at, r.out[i].Facts.What)
		}
	}
}

func (q *quietScore) log(t *testing.T) {
	t.Helper()
	for _, what := range []string{"", notClear} {
		t.Logf("%q: said %d times with a mean chance of %.2f, a run within two days after %d, within the week after %d", what, q.said[what],
			q.chance[what]/float64(max(q.said[what], 1)), q.soon[what], q.week[what])
	}
}

// "No run likely in the coming week" was said of weeks whose days were each unlikely: on 416 evenings
// of these springs, and a run came within two days after 5 and within the week after 26 of them. Said of
// weeks that are unlikely to bring one as a whole, it is so on 299, and none came within two days, within
// the week after 3; "a run may come" on 117, and it came after 23, where the draws have 37 in a hundred:
// no figure is told. (36 springs that nothing was fitted to: Madison's air of 1992 to 2019, with 2015,
// Harvard Forest's of 1990 to 1996; few of them, unless THAWLINE_CHANCES asks for all.)
func TestAQuietWeekIsQuiet(t *testing.T) {
	if testing.Short() {
		t.Skip("replays springs")
	}
	central, east := zoneOf(t, "America/Chicago"), zoneOf(t, "America/New_York")
	all, told := newQuietScore(), newQuietScore()
	step := 12
	if os.Getenv("THAWLINE_CHANCES") != "" {
		step = 1
	}
	replay := func(s *springtime) {
		list := s.evenings(t, 1)
		all.every(t, s, list)
		n := decided(t, list, Usual)
		for i := range n.list {
			told.add(s, &n.list[i], n.at[i], n.list[i].Facts.What)
		}
	}
	for year := 1992; year <= 2019; year += step {
		replay(spring(t, "Madison", daysAsHours(t, "data/madison-daily-1990-2020.csv", 0, dairyPlace, year), dairyPlace,
			time.Date(year, 2, 10, 8, 0, 0, 0, central), 60))
	}
	for year := 1990; year <= 1996; year += step {
		replay(spring(t, "Harvard Forest", daysAsHours(t, "data/forest-station-1989-1996-daily.csv", 0, hillPlace, year), hillPlace,
			time.Date(year, 2, 15, 8, 0, 0, 0, east), 60))
	}
	t.Log("every evening on which it would be said:")
	all.log(t)
	t.Log("told, once a week at most:")
	told.log(t)
	if all.said[""] < 10 || all.soon[""] > 0 || all.week[""]*5 > all.said[""] {
		t.Errorf("no run likely was said %d times, a run came within two days after %d, within the week after %d", all.said[""],
			all.soon[""], all.week[""])
	}
}
