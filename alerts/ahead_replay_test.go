package alerts

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"thawline/forecast"
	"thawline/forecast/season"
	"thawline/forecast/verify"
)

// leadScore is what the steps before a big run came to.
type leadScore struct {
	bigRuns, longRuns            heardOf // by the best quarter alone, and with the days of plenty beside them
	told, off, offWrongly, moved [2]int
	big, ordinary, nothing       [2]int // of what was told and not called off
	evenings, messages           int
}

func (a *leadScore) add(b *leadScore) {
	a.bigRuns.add(b.bigRuns)
	a.longRuns.add(b.longRuns)
	a.evenings, a.messages = a.evenings+b.evenings, a.messages+b.messages

	for k := range 2 {
		a.told[k], a.off[k], a.offWrongly[k], a.moved[k] = a.told[k]+b.told[k], a.off[k]+b.off[k], a.offWrongly[k]+b.offWrongly[k],
			a.moved[k]+b.moved[k]
		a.big[k], a.ordinary[k], a.nothing[k] = a.big[k]+b.big[k], a.ordinary[k]+b.ordinary[k], a.nothing[k]+b.nothing[k]
	}
}

func part(x, of int) float64 { return 100 * float64(x) / math.Max(float64(of), 1) }

func (a *leadScore) String() string {
	out := fmt.Sprintf("%v; with days of plenty %v", a.bigRuns, a.longRuns)
	for k, name := range []string{"from afar", "get ready"} {
		out += fmt.Sprintf("; %s %d: off %.0f %% (wrongly %.0f %%), moved %.0f %%, big %.0f %%, a run %.0f %%, nothing %.0f %%", name,
			a.told[k], part(a.off[k], a.told[k]), part(a.offWrongly[k], a.told[k]), part(a.moved[k], a.told[k]),
			part(a.big[k], a.told[k]), part(a.ordinary[k], a.told[k]), part(a.nothing[k], a.told[k]))
	}
	return out + fmt.Sprintf("; %.1f a week of these", 7*part(a.messages, a.evenings)/100)
}

// toldRun is one big run that was told, by the days of its season.
type toldRun struct {
	step     int
	from, to int
	at       time.Time
	off      bool
	moved    bool
}

// told reads the steps out of all that was decided.
func (s *springtime) told(n *notes, score *leadScore) []toldRun {
	var list []toldRun
	for i := range n.list {
		d := &n.list[i]
		step := slices.Index([]Kind{LookingAhead, GetReady}, d.Kind)
		if step < 0 {
			continue
		}
		score.messages++
		from, to := s.dayOf(d.Facts.From), s.dayOf(d.Facts.To)
		if from < 0 || to < 0 || to == len(s.dates)-1 {
			continue
		}
		if d.Facts.What == calledOff {
			at := slices.IndexFunc(list, func(r toldRun) bool { return r.step == step && r.from == from })
			list[at].off = true
			continue
		}
		if d.Facts.What == moved {
			score.moved[step]++
		}
		list = append(list, toldRun{step, from, to, n.at[i], false, d.Facts.What == moved})
	}
	return list
}

// heardOf is how many big runs there were, of how many people were told to get ready 36
// hours before, heard 60 hours before, and were told twice to get ready.
type heardOf struct{ runs, ready, early, twice int }

func (a *heardOf) add(b heardOf) {
	a.runs, a.ready, a.early, a.twice = a.runs+b.runs, a.ready+b.ready, a.early+b.early, a.twice+b.twice
}

func (a heardOf) String() string {
	return fmt.Sprintf("%d big runs: ready 36 h before %.0f %%, heard 60 h before %.0f %%, told twice %.0f %%", a.runs,
		part(a.ready, a.runs), part(a.early, a.runs), part(a.twice, a.runs))
}

// heard goes through the runs of days that belong together, with one at least of the
// best quarter, and looks for texts that name one of their days.
func (s *springtime) heard(list []toldRun, first time.Time, belongs func(day int) bool) (h heardOf) {
	for a := 0; a < len(s.dates)-3; a++ {
		if !belongs(a) || belongs(a-1) {
			continue
		}
		b := a
		for belongs(b + 1) {
			b++
		}
		if slices.Max(s.share[a:b+1]) < s.bigFrom || s.onset[a].Sub(first) < 36*time.Hour {
			continue
		}
		h.runs++
		ready, early := 0, false
		for _, r := range list {
			if !r.off && r.to >= a && r.from <= b {
				early = early || s.onset[a].Sub(r.at) >= 60*time.Hour
				if r.step == 1 && s.onset[a].Sub(r.at) >= 36*time.Hour {
					ready++
				}
			}
		}
		h.ready += min(ready, 1)
		if early {
			h.early++
		}
		told := 0
		for _, r := range list {
			if r.step == 1 && !r.off && !r.moved && r.to >= a && r.from <= b {
				told++
			}
		}
		if told > 1 {
			h.twice++
		}
	}
	return h
}

// judge holds what was told against what came. A big run is days of the best quarter
// one after another; it was told of by a text that names one of its days.
func (s *springtime) judge(n *notes, first time.Time) (score leadScore) {
	list := s.told(n, &score)
	score.bigRuns = s.heard(list, first, s.big)
	score.longRuns = s.heard(list, first, s.plenty)
	for _, r := range list {
		score.told[r.step]++
		big, ran := false, false
		for d := r.from; d <= r.to; d++ {
			big, ran = big || s.big(d), ran || s.ran(d)
		}
		switch {
		case r.off:
			score.off[r.step]++
			if big {
				score.offWrongly[r.step]++
			}
		case big:
			score.big[r.step]++
		case ran:
			score.ordinary[r.step]++
		default:
			score.nothing[r.step]++
		}
	}
	return score
}

// evening is an outlook of a replay, kept to try bounds on.
type evening struct {
	at      time.Time
	outlook *forecast.Outlook
}

func (s *springtime) evenings(t testing.TB, seed uint64) (out []evening) {
	t.Helper()
	y, m, d := s.site.Groups[0].Tapped.Date()
	for k := 0; ; k++ {
		at := time.Date(y, m, d+k, 18, 30, 0, 0, s.site.Zone)
		if at.After(s.last) {
			return out
		}
		out = append(out, evening{at, s.outlook(t, at, seed)})
	}
}

// decided goes through evenings.
func decided(t testing.TB, list []evening, th Thresholds) *notes {
	t.Helper()
	n := &notes{}
	for _, e := range list {
		decisions, err := Decide(e.outlook, n, Moment{Now: e.at, Evening: true}, th)
		if err != nil {
			t.Fatal(err)
		}
		n.add(decisions, e.at)
	}
	return n
}

// gathers reports whether somebody has gathered within a week before a day: then the
// season goes on, whatever its likely end was.
func (s *springtime) gathers(day int) bool {
	for d := max(day-7, 0); d < day; d++ {
		if s.sapL[d] >= 20 {
			return true
		}
	}
	return false
}

// neverTold holds what must not be: a run that is too near or too far for its step, a
// second change of mind of one run, two such texts on an evening, one after the season.
func (s *springtime) neverTold(t *testing.T, n *notes, list []evening) {
	t.Helper()
	var before []Decision
	evenings := map[string]bool{}
	for i := range n.list {
		d := &n.list[i]
		if d.Kind != LookingAhead && d.Kind != GetReady {
			continue
		}
		today := s.dayOf(n.at[i].Format(time.DateOnly))
		ahead := s.dayOf(d.Facts.From) - today
		o := list[today].outlook
		switch {
		case evenings[s.dates[today]]:
			t.Errorf("%s: a second text of big runs on %s", s.name, s.dates[today])
		case d.Facts.What != calledOff && s.dayOf(d.Facts.From) >= 0 &&
			(d.Kind == GetReady && (ahead < 2 || ahead > 3) || d.Kind == LookingAhead && (ahead < 3 || ahead > o.Source.SeesDays)):
			t.Errorf("%s: %s told of a run in %d days", s.name, d.Kind, ahead)
		case o.Season.Stage == season.Over && !s.gathers(today):
			t.Errorf("%s: %s told on %s, after the end", s.name, d.Kind, s.dates[today])
		}
		evenings[s.dates[today]] = true
		for _, old := range before {
			run := bigRun{from: s.dayOf(old.Facts.From), to: s.dayOf(old.Facts.To)}
			if old.Facts.What != "" && run.to >= 0 && run.beside(s.dayOf(d.Facts.From), s.dayOf(d.Facts.To)) {
				t.Errorf("%s: %s told for %s, after %s changed it", s.name, d.Key, d.Facts.From, old.Key)
			}
		}
		before = append(before, *d)
	}
}

// reach holds evenings against the days that came.
func (s *springtime) reach(r *verify.Reach, list []evening) {
	var said []forecast.Evening
	for _, e := range list {
		said = append(said, forecast.EveningOf(e.outlook))
	}
	var days []forecast.PastDay
	for d := range s.dates {
		days = append(days, forecast.PastDay{Date: s.dates[d], Known: true, Ran: s.ran(d)})
	}
	r.Add(said, days)
}

// draws is how many forecasts are drawn for each evening: few, unless asked.
func draws(few uint64) uint64 {
	if n, err := strconv.ParseUint(os.Getenv("THAWLINE_DRAWS"), 10, 8); err == nil {
		return n
	}
	if testing.Short() {
		return 1
	}
	return few
}

// Two months of evenings in six seasons: most big runs, days of the best quarter of run
// days, were told of 36 hours before, few were called off, and of none did the mind
// change twice. The chances were chosen on 35 other springs (TestChancesOfTheSteps). With
// two draws the share of runs strays by a twentieth; THAWLINE_DRAWS=8 makes it surer.
func TestLeadTime(t *testing.T) {
	var all leadScore
	var reach verify.Reach
	seeds := draws(2)
	for _, s := range namedSeasons(t) {
		var one leadScore
		for seed := range seeds {
			list := s.evenings(t, seed+1)
			n := decided(t, list, Usual)
			s.neverTold(t, n, list)
			score := s.judge(n, list[0].at)
			score.evenings = len(list)
			one.add(&score)
			s.reach(&reach, list)
			if got := list[0].outlook.Source.SeesDays; got != 4 {
				t.Errorf("where nothing was measured the forecast sees %d days", got)
			}
		}
		t.Logf("%-14s %v", s.name, &one)
		all.add(&one)
	}
	var skill []string
	for days := range 7 {
		skill = append(skill, fmt.Sprintf("%.2f", reach.Skill(days+1)))
	}
	t.Logf("all: %v\nskill one to seven days ahead %v: sees %d days", &all, skill, reach.Days())
	if testing.Short() {
		return
	}
	least := 80.0
	if seeds < 8 {
		least = 75
	}
	if got := part(all.bigRuns.ready, all.bigRuns.runs); got < least {
		t.Errorf("told to get ready 36 h before %.0f %% of big runs", got)
	}
	for k := range 2 {
		if part(all.off[k], all.told[k]) > 25 || part(all.nothing[k], all.told[k]) > 9 {
			t.Errorf("%v", &all)
		}
	}
	// At a bush whose own air nobody has told: 0.24 with eight draws, 0.40 where it is that of the grid.
	if reach.Skill(4) < 0.2 || reach.Skill(5) > 0.36 {
		t.Errorf("skill %v", skill)
	}
}

// The chances of the steps, on springs that TestLeadTime does not use: Madison's air of
// 1991 to 2019 without 2015, and Harvard Forest's of 1990 to 1996.
func TestChancesOfTheSteps(t *testing.T) {
	if os.Getenv("THAWLINE_CHANCES") == "" {
		t.Skip("set THAWLINE_CHANCES=1 for the table by which the chances were chosen (minutes)")
	}
	var springs []*springtime
	central, east := zoneOf(t, "America/Chicago"), zoneOf(t, "America/New_York")
	for year := 1991; year <= 2019; year++ {
		if year != 2015 {
			springs = append(springs, spring(t, "Madison", daysAsHours(t, "data/madison-daily-1990-2020.csv", 0, dairyPlace, year),
				dairyPlace, time.Date(year, 2, 28, 8, 0, 0, 0, central), 43))
		}
	}
	for year := 1990; year <= 1996; year++ {
		springs = append(springs, spring(t, "Harvard Forest",
			daysAsHours(t, "data/forest-station-1989-1996-daily.csv", 0, hillPlace, year), hillPlace,
			time.Date(year, 2, 28, 8, 0, 0, 0, east), 48))
	}
	tried := map[Thresholds]*leadScore{}
	var order []Thresholds
	for _, send := range []float64{0.2, 0.3, 0.4, 0.5} {
		for _, far := range []float64{0.5, 0.6, 0.7} {
			th := Usual
			th.GetReady.Send, th.LookingAhead.Send = send, far
			tried[th] = &leadScore{}
			order = append(order, th)
		}
	}
	for _, s := range springs {
		for seed := range draws(2) {
			list := s.evenings(t, seed+1)
			for th, all := range tried {
				score := s.judge(decided(t, list, th), list[0].at)
				score.evenings = len(list)
				all.add(&score)
			}
		}
	}
	for _, th := range order {
		t.Logf("get ready from %.1f, looking ahead from %.1f: %v", th.GetReady.Send, th.LookingAhead.Send, tried[th])
	}
}

// Nobody is told twice to get ready for one run: over the springs of 2013 to 2015, as often as
// forecasts are drawn, no two such texts that were neither moved nor called off name the same
// days or days that follow each other, nor the days of one big run that came.
func TestGetReadyIsToldOnceForARun(t *testing.T) {
	told, weeks := 0, 0
	for _, s := range namedSeasons(t)[:3] {
		for seed := range draws(2) {
			list := s.evenings(t, seed+1)
			weeks += len(list) / 7
			var score leadScore
			n := decided(t, list, Usual)
			var before []toldRun
			for _, r := range s.told(n, &score) {
				if r.step != 1 || r.off || r.moved {
					continue
				}
				for _, old := range before {
					if r.from <= old.to+1 && r.to >= old.from {
						t.Errorf("%s: told on %s for %s, and on %s for %s", s.name, old.at.Format(time.DateOnly), s.dates[old.from],
							r.at.Format(time.DateOnly), s.dates[r.from])
					}
				}
				before = append(before, r)
				told++
			}
			if h := s.heard(before, list[0].at, s.big); h.twice > 0 {
				t.Errorf("%s: told twice to get ready for %d big runs", s.name, h.twice)
			}
		}
	}
	t.Logf("told to get ready %d times in %d weeks", told, weeks)
	if told == 0 {
		t.Error("never told to get ready")
	}
}
