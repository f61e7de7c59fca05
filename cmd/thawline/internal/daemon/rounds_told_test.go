package daemon

import (
	"path/filepath"
	"slices"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/message"
	"thawline/forecast"
)

// Through seasons that are worked by the plan, and looked at every two hours, every round that
// is worth its trip was told before it starts: by the evening text, by news of a round, or by a
// warning of its group; at that hour, and once. What was told stays in the plan.
func TestEveryRoundWasTold(t *testing.T) {
	if testing.Short() {
		t.Skip("seasons are lived through in the long pass")
	}
	for name, b := range bushesAtWork(t) {
		if !slices.Contains([]string{"demonstration", "hill 2013", "hill 2015, 480 taps"}, name) {
			continue // as much is shown by these
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			box := &recorder{}
			s := settings(b.site, &oracle{truth: b.truth, place: b.site.Place}, map[string]channel.Channel{"text": box})
			s.RefreshEvery = 2 * time.Hour
			d := started(t, filepath.Join(t.TempDir(), "told.db"), s, b.from)
			site := &d.settings.Sites[0]
			l := &livedThrough{t: t, d: d, site: site, warned: map[string]time.Time{}}
			for now := b.from; now.Before(b.from.AddDate(0, 0, b.days)); now = now.Add(step) {
				through(d, now, now.Add(step))
				l.step(now.Add(step))
			}
			news := 0
			for i := range box.got {
				m := &box.got[i]
				if m.Says(alerts.NewRound) {
					news++
					if h := m.MadeAt.In(site.Zone).Hour(); h < 5 || h >= 20 {
						t.Errorf("a new round told at %s: %s", m.MadeAt.In(site.Zone), m.Text)
					}
				}
			}
			t.Logf("%d rounds to groups, %d of them told by news in %d messages, %d by a warning, %d moved a bit, %d told for earlier that day and not made, %d not worth a word, %d not told",
				l.rounds, l.byNews, news, l.byWarning, l.moved, l.undone, l.little, l.untold)
			if l.untold > 0 || news > 7*len(site.Groups) || l.byNews == 0 {
				t.Errorf("%d rounds were told to nobody, %d messages of new ones", l.untold, news)
			}
		})
	}
}

// livedThrough is a season of which every round is made and written down as it begins.
type livedThrough struct {
	t      *testing.T
	d      *Daemon
	site   *forecast.Site
	plan   *forecast.Outlook // of a step ago
	told   []alerts.NamedRound
	news   []alerts.NamedRound
	keys   []string
	warned map[string]time.Time

	rounds, byNews, byWarning, moved, undone, little, untold int
}

// step ends on full hours, when rounds begin, and at half past.
const step = 30 * time.Minute

func (l *livedThrough) step(now time.Time) {
	memory := l.d.Ledger.Memory(l.t.Context())
	last := func(kind alerts.Kind, begins string) (alerts.Decision, time.Time, bool) {
		d, at, told, err := memory.Last(l.site.ID, kind, begins)
		if err != nil {
			l.t.Fatal(err)
		}
		return d, at, told
	}
	for _, kind := range []alerts.Kind{alerts.Evening, alerts.NewRound} {
		d, _, told := last(kind, "")
		if !told || slices.Contains(l.keys, d.Key) {
			continue
		}
		l.keys = append(l.keys, d.Key)
		if kind == alerts.Evening {
			l.told = append(l.told, d.Facts.Rounds...)
			continue
		}
		for _, n := range d.Facts.New {
			for i := len(l.told) - 1; i >= 0; i-- { // the newest that was told of the group
				if l.told[i].Group != n.Group {
					continue
				}
				if l.told[i].At.Equal(n.At) {
					l.t.Errorf("%s at %s is told again by %s", n.Group, n.At, d.Key)
				}
				break
			}
			if o := l.d.shelf.newest(l.site.ID); o != nil {
				w, _ := l.d.Words(message.Reader{Language: "en"})
				if !slices.ContainsFunc(o.Work.Rounds, func(r forecast.CrewRound) bool { return r.Start.Equal(n.At) }) {
					l.t.Errorf("news of %s at %s, and the plan: %s", n.Group, n.At, w.NextRound(o, now))
				}
			}
		}
		l.told, l.news = append(l.told, d.Facts.New...), append(l.news, d.Facts.New...)
	}
	for i := range l.site.Groups {
		id := l.site.Groups[i].ID
		for _, kind := range []alerts.Kind{alerts.Overflow, alerts.HardFreeze, alerts.BoilBy} {
			if _, at, told := last(kind, id+":"); told && at.After(l.warned[id]) {
				l.warned[id] = at
			}
		}
	}
	if l.plan != nil {
		begun := slices.DeleteFunc(slices.Clone(l.plan.Work.Rounds), func(r forecast.CrewRound) bool {
			return r.Start.Before(now.Add(-step)) || !r.Start.Before(now)
		})
		for _, r := range begun {
			for _, g := range r.Groups {
				l.count(g.Group, r.Start)
			}
		}
		done(l.t, l.d, l.site, begun, now)
	}
	l.plan = l.d.shelf.newest(l.site.ID)
}

func (l *livedThrough) count(group string, at time.Time) {
	named := func(list []alerts.NamedRound, within time.Duration) bool {
		return slices.ContainsFunc(list, func(n alerts.NamedRound) bool { return n.Group == group && at.Sub(n.At).Abs() <= within })
	}
	l.rounds++
	g := l.plan.Work.Group(group)
	switch {
	case named(l.news, 0):
		l.byNews++
	case named(l.told, 0):
	case named(l.told, 3*time.Hour):
		l.moved++
	case slices.ContainsFunc(l.told, func(n alerts.NamedRound) bool {
		return n.Group == group && at.Sub(n.At) > 0 && at.Sub(n.At) < 12*time.Hour && !g.SinceVisit.After(n.At.Add(-90*time.Minute))
	}):
		l.undone++ // may well be done, as far as anybody knows
	case at.Sub(l.warned[group]) < 30*time.Hour:
		l.byWarning++
	case g.Decision != forecast.Gather || g.GoAt == nil || !g.GoAt.Equal(at) || g.LossAvoidedL < l.plan.Work.TripL ||
		g.VolumeL.P50 < l.plan.Work.TripL:
		l.little++
	default:
		l.untold++
		l.t.Logf("%s at %s: saves %.0f L; told %v", group, at.In(l.site.Zone), g.LossAvoidedL, l.told[max(len(l.told)-4, 0):])
	}
}
