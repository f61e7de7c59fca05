package daemon

import (
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
	"thawline/forecast"
)

// simulated lets an evening pass: faults until eight, then quiet hours in which
// all that is owed must be made good.
func simulated(t testing.TB, ws *worlds, seed uint64) *world {
	t.Helper()
	ws.faulty.world.Store(nil)
	ws.empty(t)
	w := &world{t: t, seed: seed, archive: ws.archive, ledger: ws.ledger, faulty: ws.faulty, drawn: map[string]int{},
		made: map[string][]*forecast.Outlook{}, doubled: map[string]bool{}, rests: map[string]rest{}, last: map[string]forecast.Inputs{}}
	zone := evenSettings("").Sites[0].Zone
	at := func(hour, minute int) time.Time { return time.Date(2026, 3, 9, hour, minute, 0, 0, zone) }
	w.now = at(18, 5)
	w.happen(zone)
	w.service = []change{{time.Time{}, worldNames[w.among(len(worldNames), "weather")]}}
	for i := range w.among(3, "changes") {
		w.service = append(w.service, change{at(18, 5).Add(time.Duration(w.among(200, "when", i)/2) * time.Minute),
			worldNames[w.among(len(worldNames), "weather")]})
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
	if w.chance(0.06, "dumb night") { // the gateway takes nothing until nobody needs it any more
		w.dumb, end = at(24+8, 5), at(24+9, 30)
	}
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
		if w.now.After(at(20, 30)) && !w.dumb.IsZero() {
			step = min(2*step+20*time.Minute, max(w.dumb.Sub(w.now), step))
		}
		w.now = w.now.Add(step)
	}
	ws.faulty.world.Store(nil)
	w.check(at(18, 30))
	return w
}

func (w *world) troublesNow() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.troubles
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
	before := w.troublesNow()
	n.d.Step(n.ctx, w.now.Add(n.skew))
	if w.troublesNow() == before {
		w.whole = append(w.whole, w.now.Add(n.skew))
	}
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
		if err := n.d.Hear(n.ctx, &site, from, text, id, w.now); err == nil && person != nil && person.Concerns(site.ID) &&
			(len(w.heard) == 0 || times == 1 || w.heard[len(w.heard)-1].at != w.now) {
			w.heard = append(w.heard, heardText{w.now, site.ID, person.ID, text})
		} else if err != nil {
			w.unsure = append(w.unsure, heardText{w.now, site.ID, from, text})
		}
	}
}

// Evenings in which services, gateway, disk, clocks and machines fail: each thing is told
// once, in time, true to the newest weather, to those whom it concerns, and nothing is
// lost. THAWLINE_EVENINGS says how many; THAWLINE_SEED from which seed on, and alone lives
// that one again.
func TestSimulatedEvenings(t *testing.T) {
	evenings, first, side := uint64(500), uint64(1), uint64(2)
	if testing.Short() {
		evenings = 30
	}
	many, err := strconv.ParseUint(os.Getenv("THAWLINE_EVENINGS"), 10, 64)
	if err == nil {
		evenings = many
	}
	if n, err := strconv.ParseUint(os.Getenv("THAWLINE_SEED"), 10, 64); err == nil {
		if first = n; many == 0 {
			evenings, side = 1, 1
		}
	}
	defer debug.SetGCPercent(debug.SetGCPercent(400))
	told := make([]map[alerts.Kind]int, side)
	t.Run("worlds", func(t *testing.T) {
		for k := range side {
			told[k] = map[alerts.Kind]int{}
			t.Run(fmt.Sprint(k), func(t *testing.T) {
				t.Parallel()
				simulate(t, first+k, first+evenings, side, told[k])
			})
		}
	})
	var line []string
	for i := range alerts.Profiles {
		kind, n := alerts.Profiles[i].Kind, 0
		for k := range told {
			n += told[k][kind]
		}
		line = append(line, fmt.Sprint(kind, " ", n))
		if why := neverSimulated[kind]; evenings >= 500 && (n == 0) != (why != "") {
			t.Errorf("%s was sent %d times in %d evenings: nothing is shown of it, or it need not be excused (%q)", kind, n, evenings, why)
		}
	}
	t.Logf("sent: %s", strings.Join(line, ", "))
}

// neverSimulated are the kinds of which no evening says anything, and why.
var neverSimulated = map[alerts.Kind]string{
	alerts.Rescued:  "a database that is damaged is put right before a daemon begins",
	alerts.Overview: "nobody in a world has more bushes than a handful",
	alerts.NewRound: "the evening tells of all that a world plans; TestEveryRoundWasTold lives through seasons",
	alerts.RoundOff: "nobody in a world empties what others were sent to; TestWhatIsNotTold tells of it",
	alerts.Question: "is asked of a warning that reached somebody on the day before",
}

// simulate lives through every so manieth seed, and counts what was sent.
func simulate(t *testing.T, first, end, by uint64, told map[alerts.Kind]int) {
	ws := openWorlds(t)
	began, lived, messages, crashes, texts, failed := time.Now(), 0, 0, 0, 0, 0
	for seed := first; seed < end && failed < 10; seed += by {
		w := simulated(t, ws, seed)
		lived, messages, texts = lived+1, messages+len(w.accepted), texts+len(w.heard)
		for i := range w.accepted {
			for _, kind := range w.accepted[i].Kinds {
				told[kind]++
			}
		}
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
	t.Logf("%d evenings in %s (%.0f a minute): %d messages, %d crashes, %d texts heard", lived, took.Round(time.Millisecond),
		float64(lived)/took.Minutes(), messages, crashes, texts)
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
