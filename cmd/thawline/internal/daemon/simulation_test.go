package daemon

import (
	"context"
	"fmt"
	"os"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/ledger"
	"thawline/forecast"
)

// simulated lets an evening pass: faults until eight, then quiet hours in which
// all that is owed must be made good.
func simulated(t testing.TB, ws *worlds, seed uint64) *world {
	t.Helper()
	ws.faulty.world.Store(nil)
	ws.empty(t)
	w := &world{t: t, seed: seed, archive: ws.archive, ledger: ws.ledger, faulty: ws.faulty, drawn: map[string]int{}, made: map[string][]*forecast.Outlook{}, doubled: map[string]bool{}, last: map[string]Answer{}}
	zone := evenSettings("").Sites[0].Zone
	at := func(hour, minute int) time.Time { return time.Date(2026, 3, 9, hour, minute, 0, 0, zone) }
	w.now = at(18, 5)
	w.service = []change{{time.Time{}, worldNames[w.among(len(worldNames), "weather")]}}
	for i := range w.among(3, "changes") {
		w.service = append(w.service, change{at(18, 5).Add(time.Duration(w.among(200, "when", i)/2) * time.Minute), worldNames[w.among(len(worldNames), "weather")]})
	}
	slices.SortFunc(w.service, func(a, b change) int { return a.at.Compare(b.at) })
	daemons := 1
	if w.chance(0.4, "two daemons") {
		daemons = 2
	}
	for i := range daemons {
		n := &node{w: w, name: fmt.Sprint("node", i)}
		if i > 0 {
			n.skew = time.Duration(w.among(1200, "skew")-600) * time.Second
		}
		w.nodes = append(w.nodes, n)
		if err := n.up(); err != nil {
			t.Fatal(err)
		}
	}
	ws.faulty.world.Store(w)
	quiet, end := at(20, 0), at(21, 40)
	for w.now.Before(end) {
		if !w.calm && !w.now.Before(quiet) {
			w.calm = true
			for _, n := range w.nodes {
				n.skew = 0
			}
		}
		if !w.calm {
			w.write()
		}
		for _, n := range w.nodes {
			n.tick()
		}
		step := time.Duration(5+w.among(14, "step")) * time.Minute
		if w.now.Before(at(18, 50)) && w.now.After(at(18, 25)) {
			step = time.Duration(30+w.among(270, "step")) * time.Second
		}
		w.now = w.now.Add(step)
	}
	ws.faulty.world.Store(nil)
	w.check(at(18, 30))
	return w
}

// tick lets a daemon do what is due, unless it is down; its clock may jump.
func (n *node) tick() {
	w := n.w
	if n.ctx.Err() != nil {
		if w.now.Before(n.until) && !w.calm {
			return
		}
		if err := n.up(); err != nil {
			n.crash() // again a little later
			n.until = w.now.Add(time.Minute)
			return
		}
	}
	if !w.calm && w.chance(0.03, "clock jumps", n.name) {
		n.skew += time.Duration(w.among(40, "by", n.name)-20) * time.Minute
		if len(w.nodes) == 1 {
			n.skew = min(max(n.skew, -10*time.Minute), 20*time.Minute)
		}
	}
	n.d.Step(n.ctx, w.now.Add(n.skew))
	if !w.calm && n.ctx.Err() == nil && w.chance(0.04, "restart", n.name) {
		n.down("told to")
	}
}

// write lets somebody send a text, sometimes twice, sometimes who may not.
func (w *world) write() {
	if !w.chance(0.25, "somebody writes") {
		return
	}
	from := []string{"+18025550101", "+18025550102", "+18025550103", "+18025550104", "+19995550000"}[w.among(5, "who writes")]
	text := []string{"STOP", "START", "OK", "12 L", "pause 2", "undo", "help"}[w.among(7, "what")]
	n := w.nodes[w.among(len(w.nodes), "through")]
	if n.ctx.Err() != nil {
		return
	}
	sites := n.d.Sites()
	site := sites[w.among(len(sites), "where")]
	id := fmt.Sprint(w.among(1<<30, "id"))
	times := 1
	if w.chance(0.3, "twice") {
		times = 2
	}
	var person *channel.Person
	if at := n.d.byNumber[digitsOf(from)]; len(at) > 0 {
		person = at[0]
	}
	for range times {
		if err := n.d.Hear(n.ctx, &site, from, text, id, w.now); err == nil && person != nil && person.Concerns(site.ID) && (len(w.heard) == 0 || times == 1 || w.heard[len(w.heard)-1].at != w.now) {
			w.heard = append(w.heard, heardText{w.now, site.ID, person.ID, text})
		} else if err != nil {
			w.unsure = append(w.unsure, heardText{w.now, site.ID, from, text})
		}
	}
}

// check looks whether the evening kept its promises.
func (w *world) check(evening time.Time) {
	ctx := context.Background()
	people := map[string]channel.Person{}
	for _, p := range worldPeople() {
		people[p.ID] = p
	}
	evenings := map[string]string{} // person and site: the key of the text
	took := map[string]int{}
	for i := range w.accepted {
		m := &w.accepted[i]
		took[m.Key]++
		p, known := people[m.Person]
		switch {
		case !known || !p.Concerns(m.Site) || p.Ways[0].To != m.To:
			w.fault("unauthorised: %s to %s (%s) of %s", m.Kind, m.Person, m.To, m.Site)
		case p.Role == "viewer" && slices.ContainsFunc(m.Kinds, func(k alerts.Kind) bool { return k != alerts.Reply && k != alerts.Question && !k.HeardBy("viewer") }):
			w.fault("a viewer is told %v", m.Kinds)
		case m.at.After(m.Until.Add(time.Minute)):
			w.fault("late: %s to %s at %s, of use until %s", m.Kind, m.Person, m.at.Format("15:04"), m.Until.Format("15:04"))
		}
		if !m.Says(alerts.Evening) {
			continue
		}
		if m.at.Add(20 * time.Minute).Before(evening) {
			w.fault("early: the evening at %s", m.at.Format("15:04"))
		}
		of := m.Person + " " + m.Site
		if before := evenings[of]; before != "" && before != m.Key {
			w.fault("twice: two evening texts to %s", of)
		}
		evenings[of] = m.Key
	}
	for key, n := range took {
		if n > 1 && !w.doubled[key] && !w.crashed() {
			w.fault("twice: %s was sent %d times", key, n)
		}
	}
	list, err := w.archiveLedger().Recent(ctx, 1000)
	if err != nil {
		w.fault("the ledger can't be read: %v", err)
	}
	decided := map[string]bool{}
	for i := range list {
		v := &list[i]
		if v.Kind == alerts.Evening {
			decided[v.Person+" "+v.Site] = true
		}
		if v.State == ledger.Waiting && v.NextAt.Before(w.now) && v.GoesWith == "" {
			w.fault("lost: %s to %s still waits at %s, due %s", v.Kind, v.Person, w.now.Format("15:04"), v.NextAt.Format("15:04"))
		}
		if v.State == ledger.Sent && v.GoesWith == "" && took[v.ID] == 0 {
			w.fault("lost: %s to %s counts as sent, and was not", v.Kind, v.Person)
		}
	}
	w.checkEvenings(ctx, evenings, evening)
	w.checkTexts(ctx, list)
}

// checkEvenings looks whether everybody who is to hear of tomorrow has, in words of the
// weather that was newest.
func (w *world) checkEvenings(ctx context.Context, evenings map[string]string, evening time.Time) {
	l := w.archiveLedger()
	for _, site := range []string{"bush", "lake"} {
		for _, person := range worldPeople() {
			if !person.Concerns(site) {
				continue
			}
			key := evenings[person.ID+" "+site]
			if key == "" {
				continue
			}
			for i := range w.accepted {
				m := &w.accepted[i]
				if m.Key != key {
					continue
				}
				o := w.made[site+" "+m.MadeAt.UTC().Format(time.RFC3339)]
				if len(o) == 0 {
					w.fault("not true: the evening of %s was made at %s from no outlook", site, m.MadeAt)
					continue
				}
				words, err := w.nodes[0].d.Words(person.Reader)
				if err != nil {
					w.fault("%v", err)
					continue
				}
				if !slices.ContainsFunc(o, func(o *forecast.Outlook) bool {
					_, said, _ := strings.Cut(words.Evening(o), ": ")
					said, _, _ = strings.Cut(said, " OLD WEATHER") // which stands at the end of all that one message says
					return strings.Contains(m.Text, said)
				}) {
					w.fault("not true to the weather: %q", m.Text)
				}
			}
		}
		d, made, known, err := l.Memory(ctx).Last(site, alerts.Evening, "")
		if err != nil {
			w.fault("%v", err)
		}
		if !known {
			if w.untold(site, evening) && !w.silentAll(site) {
				w.fault("not told: a run was likely at %s by all outlooks of the evening", site)
			}
			continue
		}
		for _, person := range worldPeople() {
			if !person.Concerns(site) || evenings[person.ID+" "+site] != "" || w.everSilent(person.ID) {
				continue
			}
			w.fault("lost: %s was not told the evening of %s, decided %s (%s)", person.ID, site, made.Format("15:04"), d.Key)
		}
	}
}

// untold reports whether every outlook of the minutes after the evening says that a run is
// likely, and there was weather to go by.
func (w *world) untold(site string, evening time.Time) bool {
	for _, k := range []alerts.Kind{alerts.NoForecast, alerts.StaleFeed} {
		if _, _, known, err := w.archiveLedger().Memory(context.Background()).Last(site, k, ""); err != nil || known {
			return false
		}
	}
	seen := false
	for at, made := range w.made {
		for _, o := range made {
			if !strings.HasPrefix(at, site) || o.IssuedAt.Before(evening) || o.IssuedAt.After(evening.Add(15*time.Minute)) || len(o.Days) < 2 {
				continue
			}
			if seen = true; o.Days[1].RunProbability < 0.6 {
				return false
			}
		}
	}
	return seen
}

// checkTexts looks whether what people wrote counts as they wrote it.
func (w *world) checkTexts(ctx context.Context, list []ledger.Delivery) {
	stopped := map[string]string{}
	wrote := map[string]int{}
	for _, h := range w.heard {
		switch h.text {
		case "STOP", "START":
			stopped[h.person] = h.text
		case "12 L":
			wrote[h.person+" "+h.site]++
		}
	}
	for person, word := range stopped {
		if w.isUnsure(person) {
			continue
		}
		is, err := w.archiveLedger().Stopped(ctx, person)
		if err != nil || is != (word == "STOP") {
			w.fault("%s wrote %s last, and is stopped: %t, %v", person, word, is, err)
		}
	}
	for _, site := range []string{"bush", "lake"} {
		visits, err := w.archive.Visits(ctx, site, time.Time{}, time.UTC)
		if err != nil {
			w.fault("%v", err)
		}
		for i := range visits {
			if by := visits[i].RecordedBy; by == "cy" || site == "lake" && by == "bob" || site == "bush" && by == "dee" {
				w.fault("unauthorised: %s wrote a record of %s", by, site)
			}
		}
	}
	replies := map[string]int{}
	for i := range list {
		if list[i].Kind == alerts.Reply {
			replies[list[i].Person]++
		}
	}
	for person, n := range replies {
		most := 0
		for _, h := range slices.Concat(w.heard, w.unsure) {
			if h.person == person || slices.ContainsFunc(worldPeople(), func(p channel.Person) bool { return p.ID == person && p.Ways[0].To == h.person }) {
				most++
			}
		}
		if n > most {
			w.fault("twice: %d answers to %d texts of %s", n, most, person)
		}
	}
}

func (w *world) crashed() bool {
	return slices.ContainsFunc(w.nodes, func(n *node) bool { return n.downs > 0 })
}

// everSilent reports whether a person wanted no messages at some time of the evening.
func (w *world) everSilent(person string) bool {
	return w.isUnsure(person) || slices.ContainsFunc(w.heard, func(h heardText) bool { return h.person == person && (h.text == "STOP" || h.text == "pause 2") })
}

func (w *world) silentAll(site string) bool {
	return !slices.ContainsFunc(worldPeople(), func(p channel.Person) bool { return p.Concerns(site) && !w.everSilent(p.ID) })
}

// isUnsure reports whether a text of a person may or may not have been dealt with.
func (w *world) isUnsure(person string) bool {
	return slices.ContainsFunc(w.unsure, func(h heardText) bool {
		return slices.ContainsFunc(worldPeople(), func(p channel.Person) bool { return p.ID == person && p.Ways[0].To == h.person })
	})
}

func (w *world) archiveLedger() *ledger.Ledger { return ledger.New(w.archive.DB()) }

// Evenings in which services, gateway, disk, clocks and machines fail: each thing is told
// once, in time, true to the newest weather, to those whom it concerns, and nothing is
// lost. THAWLINE_EVENINGS says how many; THAWLINE_SEED lives one again.
func TestSimulatedEvenings(t *testing.T) {
	evenings, first, side := uint64(500), uint64(1), uint64(2)
	if testing.Short() {
		evenings = 30
	}
	if n, err := strconv.ParseUint(os.Getenv("THAWLINE_EVENINGS"), 10, 64); err == nil {
		evenings = n
	}
	if n, err := strconv.ParseUint(os.Getenv("THAWLINE_SEED"), 10, 64); err == nil {
		evenings, first, side = 1, n, 1
	}
	defer debug.SetGCPercent(debug.SetGCPercent(400))
	for k := range side {
		t.Run(fmt.Sprint("world ", k), func(t *testing.T) {
			t.Parallel()
			simulate(t, first+k, first+evenings, side)
		})
	}
}

// simulate lives through every so manieth seed.
func simulate(t *testing.T, first, end, by uint64) {
	ws := openWorlds(t)
	began, lived, messages, crashes, texts, failed := time.Now(), 0, 0, 0, 0, 0
	for seed := first; seed < end && failed < 10; seed += by {
		w := simulated(t, ws, seed)
		lived, messages, texts = lived+1, messages+len(w.accepted), texts+len(w.heard)
		for _, n := range w.nodes {
			crashes += n.downs
			n.crash()
		}
		if len(w.wrong) > 0 {
			failed++
			t.Errorf("THAWLINE_SEED=%d:\n\t%s", seed, strings.Join(w.wrong[:min(len(w.wrong), 5)], "\n\t"))
		}
	}
	if lived == 1 {
		ws.tell(t)
	}
	took := time.Since(began)
	t.Logf("%d evenings in %s (%.0f a minute): %d messages, %d crashes, %d texts heard", lived, took.Round(time.Millisecond), float64(lived)/took.Minutes(), messages, crashes, texts)
}

// tell prints what was decided and sent in the last evening.
func (ws *worlds) tell(t testing.TB) {
	rows, err := ws.archive.DB().Query("SELECT d.site, d.kind, d.name, d.made_at, COALESCE(v.person, ''), COALESCE(v.state, ''), COALESCE(v.sent_at, ''), COALESCE(v.attempts, 0) FROM decision d LEFT JOIN delivery v ON v.decision_id = d.id ORDER BY d.made_at, d.site")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var c [7]string
		var n int
		if err := rows.Scan(&c[0], &c[1], &c[2], &c[3], &c[4], &c[5], &c[6], &n); err != nil {
			t.Fatal(err)
		}
		t.Logf("%v after %d tries", c, n)
	}
}
