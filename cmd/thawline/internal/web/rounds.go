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
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

type roundsBody struct {
	Next, NextMore string
	Groups         []groupEntry
	Parts          []sections.Section
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
		b.Parts = sections.OfRounds(o, v.words, v.system)
	}
	last, err := p.lastVisits(r, v)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	b.Groups = groupsInOrder(v, o)
	for i := range b.Groups {
		b.Groups[i].Last = last[b.Groups[i].ID]
		b.Groups[i].Key = uuid.NewString()
	}
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

// lastVisits says what was last written down for each group in three days.
func (p *Pages) lastVisits(r *http.Request, v *view) (map[string]string, error) {
	stored, err := p.Records.Visits(r.Context(), v.Site.ID, p.Now().Add(-72*time.Hour), v.Site.Zone)
	out := map[string]string{}
	for i := range stored {
		s := &stored[i]
		what := v.words.Note(s.Note)
		if s.Collected() {
			what = v.Volume(s.VolumeL)
		}
		out[s.Group] = v.T("rounds_last_was", "When", v.Moment(s.CollectedAt), "What", what)
	}
	return out, err
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

// wrongEntry is what has to be put right in an entry: the key of its words, or what is
// doubted.
type wrongEntry struct {
	key   string
	doubt *records.Doubt
}

func (w *wrongEntry) Error() string { return w.key }

// why says what is wrong with an entry.
func (v *view) why(wrong *wrongEntry) string {
	if wrong.doubt != nil {
		return v.T("entry_doubted", "Why", v.words.Doubt(wrong.doubt))
	}
	return v.T(wrong.key)
}

// enter takes what was found at a group: from the form, or from a phone that
// kept it while there was no signal. The key makes it count once.
func (p *Pages) enter(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/rounds")
	if v == nil {
		return
	}
	asks := strings.Contains(r.Header.Get("Accept"), "application/json")
	answer := func(status int, state, say string) {
		if asks {
			w.Header().Set("Content-Type", "application/json")
			w.WriteHeader(status)
			_ = json.NewEncoder(w).Encode(map[string]string{"state": state, "say": say})
			return
		}
		if status == http.StatusOK {
			http.Redirect(w, r, v.At("/rounds?done=done_entered"), http.StatusSeeOther)
			return
		}
		v.Title, v.Body = v.T("fault_title"), say
		p.send(w, r, status, "fault", v)
	}
	visit, key, err := p.readEntry(r, v)
	var wrong *wrongEntry
	if errors.As(err, &wrong) {
		answer(http.StatusUnprocessableEntity, "wrong", v.why(wrong))
		return
	}
	name := v.Identity.Name
	if name == "" {
		name = byPage
	}
	_, again, err := p.Records.PutVisitsOnce(r.Context(), v.Site.ID+"/"+key, "", []records.Visit{visit}, name, p.Now())
	if err != nil {
		p.Log.Error("an entry was not kept", "site", v.Site.ID, "error", err)
		answer(http.StatusServiceUnavailable, "later", v.T("fault_here"))
		return
	}
	state := "kept"
	if again {
		state = "again"
	}
	answer(http.StatusOK, state, v.T("done_entered"))
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
	visit.CollectedAt = p.Now().Truncate(time.Second).In(v.Site.Zone)
	if text := form.Get("ago"); text != "" { // kept on a phone for so many seconds
		ago, err := strconv.Atoi(text)
		if err != nil || ago < 0 || ago > longestKept {
			return visit, "", &wrongEntry{key: "entry_wrong_time"}
		}
		visit.CollectedAt = visit.CollectedAt.Add(-time.Duration(ago) * time.Second)
	}
	if text := form.Get("local"); text != "" { // written by hand, in the bush's own time
		at, err := time.ParseInLocation("2006-01-02T15:04", text, v.Site.Zone)
		if err != nil || at.After(p.Now().Add(time.Hour)) {
			return visit, "", &wrongEntry{key: "entry_wrong_time"}
		}
		visit.CollectedAt = at
	}
	return visit, key, p.doubted(&visit, v)
}

// readVisit reads group, volume in the reader's unit, sugar and remarks.
func (p *Pages) readVisit(form url.Values, v *view) (records.Visit, error) {
	visit := records.Visit{Site: v.Site.ID, Group: form.Get("group"), VolumeL: math.NaN(), BrixPct: math.NaN()}
	found := false
	for _, g := range v.Site.Groups {
		if g.ID == visit.Group {
			found, visit.Taps = true, g.Taps
		}
	}
	if !found {
		return visit, &wrongEntry{key: "entry_wrong_group"}
	}
	system := v.system
	if s, err := units.ParseSystem(form.Get("units")); err == nil { // the page was made for
		system = s
	}
	number := func(name string, most float64, wrong string) (float64, error) {
		text := strings.TrimSpace(strings.ReplaceAll(form.Get(name), ",", "."))
		if text == "" {
			return math.NaN(), nil
		}
		x, err := strconv.ParseFloat(text, 64)
		if err != nil || math.IsNaN(x) || x < 0 || x > most {
			return math.NaN(), &wrongEntry{key: wrong}
		}
		return x, nil
	}
	volume, err := number("volume", 1e6, "entry_wrong_volume")
	if err != nil {
		return visit, err
	}
	one, _ := units.VolumeIn(1, system)
	visit.VolumeL = math.Round(volume/one*100) / 100
	if visit.BrixPct, err = number("brix", 12, "entry_wrong_brix"); err != nil {
		return visit, err
	}
	if visit.Collected() && form.Get("not_checked") != "" {
		return visit, &wrongEntry{key: "entry_wrong_both"}
	}
	var remarks []string
	for _, remark := range []struct{ field, words string }{{"full", "full"}, {"ice", "ice"}, {"not_checked", "not checked"}} {
		if form.Get(remark.field) != "" {
			remarks = append(remarks, remark.words)
		}
	}
	if note := strings.TrimSpace(form.Get("note")); note != "" {
		remarks = append(remarks, note)
	}
	visit.Note = v.words.KeptNote(strings.Join(strings.FieldsFunc(strings.Join(remarks, ", "), func(c rune) bool { return c < ' ' || c == 0x7f }), " "))
	if len(visit.Note) > 500 {
		return visit, &wrongEntry{key: "entry_wrong_note"}
	}
	if !visit.Collected() && visit.Note == "" {
		return visit, &wrongEntry{key: "entry_empty"}
	}
	return visit, nil
}

// doubted refuses what can't be, such as more than the pails hold.
func (p *Pages) doubted(visit *records.Visit, v *view) error {
	for _, d := range records.Doubts([]records.Visit{*visit}, p.Now(), v.holds) {
		if d.Refusal {
			return &wrongEntry{key: "entry_doubted", doubt: &d}
		}
	}
	return nil
}

// holds is what the group of a visit can hold.
func (v *view) holds(of *records.Visit) records.Holds {
	for i := range v.Site.Groups {
		if g := &v.Site.Groups[i]; g.ID == of.Group {
			return records.Holds{Taps: g.Taps, CapacityL: g.CapacityL()}
		}
	}
	return records.Holds{}
}
