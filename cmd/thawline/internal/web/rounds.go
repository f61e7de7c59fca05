package web

import (
	"encoding/json"
	"errors"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"thawline/alerts/message/sections"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

type roundsBody struct {
	Next, NextMore string
	Groups         []groupEntry
	Crew           *crewBody // nil where nothing is known
	Observed       *observedBody
	Pulled         []pulledGroup
	Dangers, Parts []sections.Section
	May            bool
}

// groupEntry is one group on the round: what is to be expected there and a form
// for what was found.
type groupEntry struct {
	ID, Name, Key string
	Order         int // on the next round, from 1; 0 if it can wait
	Taps          int
	Expected      string // "" where nothing is known
	TipOut        bool   // what hangs has gone bad
	Last          string // what was last written down, "" for nothing lately
	Undo          int64  // the entry that takes it back, where it is the reader's last one; else 0
}

// rounds is the page for the bush: groups in the order of the next round, each
// with a form that one thumb can fill in.
func (p *Pages) rounds(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/rounds")
	if v == nil {
		return
	}
	b := &roundsBody{May: v.Identity.Role.May(auth.Crew)}
	o := p.current(r.Context(), v)
	if o != nil {
		b.Next, b.NextMore, _ = nextRound(v, o, p.Now())
		if o.Season.Closed == nil { // that is said above
			var err error
			parts := sections.OfRounds(o, v.words, v.system)
			b.Dangers, b.Parts = named(parts, sections.Danger), named(parts, sections.Care)
			if b.Crew, err = p.crew(r, v, o); err != nil {
				p.failed(w, r, err)
				return
			}
		}
	}
	last, of, err := p.lastVisits(r, v)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	if b.Pulled, err = p.pulledGroups(r, v); err != nil {
		p.failed(w, r, err)
		return
	}
	if b.Observed, err = p.observed(r, v); err != nil {
		p.failed(w, r, err)
		return
	}
	b.Groups = slices.DeleteFunc(groupsInOrder(v, o), func(e groupEntry) bool {
		return slices.ContainsFunc(b.Pulled, func(g pulledGroup) bool { return g.ID == e.ID })
	})
	undo, own, err := p.lastEntry(r, v)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	for i := range b.Groups {
		g := &b.Groups[i]
		if g.Last, g.Key = last[g.ID], uuid.NewString(); own != "" && of[g.ID] == own {
			g.Undo = undo
		}
	}
	p.tellEntry(r, v)
	v.Body = b
	p.send(w, r, http.StatusOK, "rounds", v)
}

func groupsInOrder(v *view, o *forecast.Outlook) []groupEntry {
	order := map[string]int{}
	expected := map[string]float64{}
	if o != nil {
		for _, g := range o.Work.Groups {
			if g.SinceVisit != nil {
				expected[g.Group] = g.HeldL.P50
			}
		}
		next, _ := o.Work.Next()
		for i, g := range next {
			order[g.Group], expected[g.Group] = i+1, g.VolumeL.P50
		}
	}
	var first, rest []groupEntry
	for _, g := range v.Site.Groups {
		e := groupEntry{ID: g.ID, Name: g.Name, Taps: g.Taps, Order: order[g.ID], TipOut: o != nil && o.Work.Group(g.ID).Decision == forecast.TipOut}
		if e.Name == "" {
			e.Name = g.ID
		}
		if litres, known := expected[g.ID]; known {
			e.Expected = v.Volume(litres)
		}
		if e.Order > 0 {
			first = append(first, e)
		} else {
			rest = append(rest, e)
		}
	}
	slices.SortFunc(first, func(a, b groupEntry) int { return a.Order - b.Order })
	return append(first, rest...)
}

// lastVisits says what was last written down for each group in three days, and in which
// record.
func (p *Pages) lastVisits(r *http.Request, v *view) (says, ids map[string]string, err error) {
	stored, err := p.Records.Visits(r.Context(), v.Site.ID, p.Now().Add(-72*time.Hour), v.Site.Zone)
	says, ids = map[string]string{}, map[string]string{}
	for i := range stored {
		s := &stored[i]
		what := v.words.Note(s.Note)
		if s.Collected() {
			what = v.Volume(s.VolumeL)
		}
		says[s.Group], ids[s.Group] = v.T("rounds_last_was", "When", v.Moment(s.CollectedAt), "What", what), s.ID
	}
	return says, ids, err
}

// byPage is who a record is from that somebody wrote who did not have to log in.
const byPage = "page"

// ByCommand is who a record is from that the command line wrote for nobody in
// particular.
const ByCommand = "command line"

// longestKept is how many seconds a phone may hold an entry: a season.
const longestKept = 120 * 24 * 3600

// keyForm is what an entry's key looks like: made by the page or the phone.
var keyForm = regexp.MustCompile(`^[A-Za-z0-9-]{8,64}$`)

// plainNumber is a number as it is written on a phone.
var plainNumber = regexp.MustCompile(`^-?[0-9]{0,9}(?:[.,][0-9]{0,6})?$`)

// wrongEntry is what has to be put right in an entry: the key of its words, or the words.
type wrongEntry struct{ key, say string }

func (w *wrongEntry) Error() string { return w.key + w.say }

// why says what is wrong with an entry.
func (v *view) why(wrong *wrongEntry) string {
	if wrong.say != "" {
		return wrong.say
	}
	return v.T(wrong.key)
}

// writer is who writes on a page, by a name for the records.
func (v *view) writer() auth.Identity {
	who := v.Identity
	if who.Name == "" {
		who.Name = byPage
	}
	return who
}

// enter takes what was found at a group: from the form, or from a phone that
// kept it while there was no signal. The key makes it count once.
func (p *Pages) enter(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/rounds")
	if v == nil {
		return
	}
	asks := strings.Contains(r.Header.Get("Accept"), "application/json")
	var result intake.Result
	pulled, more := saysPulled(r)
	answer := func(status int, state, say string) {
		if asks {
			said := map[string]any{"state": state, "say": say}
			if result.Wrote {
				said["entry"] = result.Number
			}
			w.Header().Set("Content-Type", "application/json")
			w.WriteHeader(status)
			_ = json.NewEncoder(w).Encode(said)
			return
		}
		if status == http.StatusOK {
			to := "/rounds?entry=" + strconv.FormatInt(result.Number, 10)
			if !more {
				to = "/rounds?done=done_pulled"
			}
			http.Redirect(w, r, v.At(to), http.StatusSeeOther)
			return
		}
		v.Title, v.Body = v.T("fault_title"), say
		p.send(w, r, status, "fault", v)
	}
	say, state := "", "kept"
	var err error
	if more {
		var visit records.Visit
		var key string
		if visit, key, err = p.readEntry(r, v); err == nil {
			result, err = p.Intake.Take(r.Context(), intake.Entry{Site: v.Site, Visits: []records.Visit{visit}, Way: intake.Form, From: v.writer(), Key: v.Site.ID + "/" + key, Words: v.words}, p.Now())
			say = result.Say(v.words)
		}
		if result.Again {
			state = "again"
		}
	}
	if err == nil && pulled && !result.Refused {
		var said string
		said, err = p.notePulled(r, v)
		say = strings.TrimSpace(say + " " + said)
	}
	var wrong *wrongEntry
	switch {
	case errors.As(err, &wrong):
		answer(http.StatusUnprocessableEntity, "wrong", v.why(wrong))
	case err != nil:
		p.Log.Error("an entry was not kept", "site", v.Site.ID, "error", err)
		answer(http.StatusServiceUnavailable, "later", v.T("fault_here"))
	case result.Refused:
		answer(http.StatusUnprocessableEntity, "wrong", say)
	default:
		answer(http.StatusOK, state, say)
	}
}

func (p *Pages) readEntry(r *http.Request, v *view) (records.Visit, string, error) {
	if err := r.ParseForm(); err != nil {
		return records.Visit{}, "", &wrongEntry{key: "entry_wrong_form"}
	}
	form := r.PostForm
	key := form.Get("key")
	if !keyForm.MatchString(key) {
		return records.Visit{}, "", &wrongEntry{key: "entry_wrong_form"}
	}
	visit, err := p.readVisit(form, v)
	if err != nil {
		return visit, "", err
	}
	now := p.Now().In(v.Site.Zone)
	if text := form.Get("ago"); text != "" { // kept on a phone for so many seconds
		ago, err := strconv.Atoi(text)
		if err != nil || ago < 0 || ago > longestKept {
			return visit, "", &wrongEntry{key: "entry_wrong_time"}
		}
		if ago > 0 {
			visit.CollectedAt = now.Truncate(time.Second).Add(-time.Duration(ago) * time.Second)
		}
	}
	if text := form.Get("local"); text != "" { // written by hand, in the bush's own time
		at, err := time.ParseInLocation("2006-01-02T15:04", text, v.Site.Zone)
		if err != nil {
			return visit, "", &wrongEntry{key: "entry_wrong_time"}
		}
		if visit.CollectedAt = at; at.Equal(now.Truncate(time.Minute)) { // as the form was filled in
			visit.CollectedAt = time.Time{}
		}
	}
	return visit, key, nil
}

// readVisit reads group, volume in the reader's unit, sugar and remarks.
func (p *Pages) readVisit(form url.Values, v *view) (records.Visit, error) {
	visit := records.Visit{Group: form.Get("group"), VolumeL: math.NaN(), BrixPct: math.NaN()}
	system := v.system
	if s, err := units.ParseSystem(form.Get("units")); err == nil { // the page was made for
		system = s
	}
	number := func(name, wrong string) (float64, error) {
		text := strings.TrimSpace(form.Get(name))
		if text == "" {
			return math.NaN(), nil
		}
		x, err := strconv.ParseFloat(strings.ReplaceAll(text, ",", "."), 64)
		if err != nil || !plainNumber.MatchString(text) {
			return math.NaN(), &wrongEntry{key: wrong}
		}
		return x, nil
	}
	volume, err := number("volume", "entry_wrong_volume")
	if err != nil {
		return visit, err
	}
	one, _ := units.VolumeIn(1, system)
	visit.VolumeL = volume / one
	if visit.BrixPct, err = number("brix", "entry_wrong_brix"); err != nil {
		return visit, err
	}
	var remarks []string
	for _, remark := range []struct{ field, words string }{{"full", records.NoteFull}, {"ice", records.NoteIce}, {"not_checked", records.NoteNotChecked}} {
		if form.Get(remark.field) != "" {
			remarks = append(remarks, remark.words)
		}
	}
	if note := strings.TrimSpace(form.Get("note")); note != "" {
		remarks = append(remarks, note)
	}
	visit.Note = strings.Join(remarks, ", ")
	if !visit.Collected() && visit.Note == "" {
		return visit, &wrongEntry{key: "entry_empty"}
	}
	return visit, nil
}
