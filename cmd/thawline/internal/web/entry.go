package web

import (
	"encoding/json"
	"errors"
	"math"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"time"

	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

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
	pulled, more := saysPulled(r)
	var result intake.Result
	var visit records.Visit
	say, state := "", "kept"
	var err error
	if more {
		var key string
		if visit, key, err = p.readEntry(r, v); err == nil {
			e := intake.Entry{Site: v.Site, Visits: []records.Visit{visit}, Way: intake.Form, From: v.writer(),
				Key: v.Site.ID + "/" + key, Words: v.words}
			explain(&e, r.PostForm.Get("why"))
			result, err = p.Intake.Take(r.Context(), e, p.Now())
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
	a := entryAnswer{status: http.StatusOK, State: state, Say: say}
	if result.Wrote {
		a.Entry = result.Number
	}
	var wrong *wrongEntry
	switch {
	case errors.As(err, &wrong):
		a.status, a.State, a.Say = http.StatusUnprocessableEntity, "wrong", v.why(wrong)
		a.doubt = &entryDoubt{Say: a.Say, Group: r.PostForm.Get("group")}
	case err != nil:
		p.Log.Error("an entry was not kept", "site", v.Site.ID, "error", err)
		a.status, a.State, a.Say = http.StatusServiceUnavailable, "later", v.T("fault_here")
	case result.Refused:
		a.status, a.State = http.StatusUnprocessableEntity, "wrong"
		a.doubt = v.askBack(&result, say)
		a.Why = a.doubt.Why
	}
	p.answerEntry(w, r, v, &a, more)
}

// entryAnswer is what a phone is told of an entry.
type entryAnswer struct {
	status int
	doubt  *entryDoubt
	State  string    `json:"state"`
	Say    string    `json:"say"`
	Entry  int64     `json:"entry,omitempty"`
	Why    []whyText `json:"why,omitempty"` // what may have happened, to insist with
}

// answerEntry tells a phone, or shows the page: with what came of the entry, or with what
// was typed and what is wrong with it.
func (p *Pages) answerEntry(w http.ResponseWriter, r *http.Request, v *view, a *entryAnswer, more bool) {
	switch {
	case strings.Contains(r.Header.Get("Accept"), "application/json"):
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(a.status)
		_ = json.NewEncoder(w).Encode(a)
	case a.status == http.StatusOK && !more:
		http.Redirect(w, r, v.At("/rounds?done=done_pulled"), http.StatusSeeOther)
	case a.status == http.StatusOK:
		http.Redirect(w, r, v.At("/rounds?entry="+strconv.FormatInt(a.Entry, 10)), http.StatusSeeOther)
	case a.doubt != nil && keyForm.MatchString(r.PostForm.Get("key")):
		a.doubt.typed(r.PostForm)
		p.roundsPage(w, r, v, a.status, a.doubt)
	default:
		v.Title, v.Body = v.T("fault_title"), a.Say
		p.send(w, r, a.status, "fault", v)
	}
}

// entryDoubt is what is asked back about an entry, with what was typed.
type entryDoubt struct {
	Group, Say string
	Why        []whyText
	Fields     []field // to be sent again with a reason
	Volume     string
	Brix, Ice  string
	Full       bool
}

type field struct{ Name, Value string }

type whyText struct {
	Value string `json:"value"`
	Text  string `json:"text"`
}

// typed takes over what was sent, so that none of it has to be typed again.
func (d *entryDoubt) typed(form url.Values) {
	d.Volume, d.Brix, d.Ice, d.Full = form.Get("volume"), form.Get("brix"), form.Get("ice"), form.Get("full") != ""
	for _, name := range []string{"group", "key", "units", "volume", "brix", "full", "ice", "not_checked", "note", "local", "pulled"} {
		if value := form.Get(name); value != "" {
			d.Fields = append(d.Fields, field{name, value})
		}
	}
}

// The reasons with which an entry is insisted on.
const (
	whyLoads   = "loads"    // the containers were emptied more than once
	whyRanOver = "ran_over" // they were full, and more ran over
	whyRight   = "right"    // the figure is right
)

// askBack is what may have happened where an entry of one record is refused.
func (v *view) askBack(result *intake.Result, say string) *entryDoubt {
	d := &entryDoubt{Say: say}
	if len(result.Records) == 0 || result.Blocking || result.Barred {
		return d
	}
	rec := &result.Records[0]
	d.Group = rec.Visit.Group
	for i := range rec.Doubts {
		if one := &rec.Doubts[i]; one.Kind == records.TooMuch {
			if n := loads(rec.Visit.VolumeL, one.HoldsL); n > 1 && n <= mostLoads {
				d.Why = append(d.Why, whyText{whyLoads, v.N("entry_why_loads", n)})
			}
			d.Why = append(d.Why, whyText{whyRanOver, v.T("entry_why_ran_over")})
		}
	}
	right := v.T("entry_why_right")
	if rec.Visit.Collected() {
		right = v.T("entry_why_right_volume", "Volume", v.Volume(rec.Visit.VolumeL))
	}
	d.Why = append(d.Why, whyText{whyRight, right})
	return d
}

// mostLoads is how often somebody may have emptied the containers of a group at once.
const mostLoads = 6

// loads is how often containers were emptied that hold so many litres.
func loads(litres, holds float64) int {
	return min(int(math.Ceil(litres/(1.05*holds))), mostLoads+1)
}

// explain takes the reason with which an entry is insisted on, and keeps it in the note.
func explain(e *intake.Entry, why string) {
	v := &e.Visits[0]
	holds := e.Site.Capacity(v.Group).VolumeL
	note := ""
	switch {
	case why == whyLoads && holds > 0 && v.Collected():
		e.Fillings, note = loads(v.VolumeL, holds), records.NoteLoads
	case why == whyRanOver && holds > 0:
		v.VolumeL, note = holds, records.NoteFull
	case why == whyRight:
		e.Doubtful, note = true, records.NoteRight
	}
	if note != "" && !strings.Contains(v.Note, note) {
		v.Note = strings.Trim(v.Note+", "+note, ", ")
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

// iceNotes are the answers to how much ice was left.
var iceNotes = map[string]string{"1": records.NoteIce, "little": records.NoteIceLittle, "half": records.NoteIceHalf,
	"most": records.NoteIceMost}

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
	switch form.Get("found") {
	case "expected": // confirmed, not measured
		if visit.VolumeL, err = number("expected", "entry_wrong_volume"); err != nil || !visit.Collected() {
			return visit, &wrongEntry{key: "entry_wrong_volume"}
		}
		visit.VolumeL /= one
		remarks = append(remarks, records.NoteAsExpected)
	case "empty":
		visit.VolumeL = 0
	}
	if kept := iceNotes[form.Get("ice")]; kept != "" {
		remarks = append(remarks, kept)
	}
	for _, remark := range []struct{ field, words string }{{"full", records.NoteFull}, {"not_checked", records.NoteNotChecked}} {
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
