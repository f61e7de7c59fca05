package web

import (
	"encoding/json"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"

	"thawline/alerts/message/sections"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

type roundsBody struct {
	Doubt          *entryDoubt // what is asked back about an entry
	Next           string
	Groups         []groupEntry
	Crew           *crewBody // nil where nothing is known
	Observed       *observedBody
	Pulled         []pulledGroup
	Untapped       []pulledGroup // where nobody has said that taps are in
	OthersIn       bool          // somebody has said so of others
	Dangers, Parts []sections.Section
	May            bool
}

// groupEntry is one group on the round: what is to be expected there and a form
// for what was found.
type groupEntry struct {
	ID, Name, Key string
	Order         int // on the next round, from 1; 0 if it can wait
	Taps          int
	Expected      string                    // "" where nothing is known
	Hangs         string                    // what is expected, in words: a figure, at most so much, or ice
	Range         string                    // in which it lies four times in five
	Figure        string                    // the expected one as a plain number, "" where nothing is to be expected
	Holds         string                    // what the containers hold, as a plain number, "" where that is not known
	Step          string                    // of one press
	Open          bool                      // shown first
	Saved         bool                      // something was written down lately
	Next          string                    // the name of the group after it
	NotIn         bool                      // nobody has said that its taps are in, but of others
	TipOut        bool                      // what hangs has gone bad
	AskLevel      bool                      // a word of how full the containers are would decide
	Levels        []records.ObservationKind // a word each
	Last          string                    // what was last written down, "" for nothing lately
	Undo          int64                     // the entry that takes it back, where it is the reader's last one; else 0
}

// rounds is the page for the bush: groups in the order of the next round, each
// with a form that one thumb can fill in.
func (p *Pages) rounds(w http.ResponseWriter, r *http.Request) {
	if v := p.ofSite(w, r, "/rounds"); v != nil {
		p.roundsPage(w, r, v, http.StatusOK, nil)
	}
}

// roundsPage shows the round, with what is asked back about an entry; nil for nothing.
func (p *Pages) roundsPage(w http.ResponseWriter, r *http.Request, v *view, status int, doubt *entryDoubt) {
	b := &roundsBody{May: v.Identity.Role.May(auth.Crew), Doubt: doubt}
	o := p.current(r.Context(), v)
	if o != nil {
		b.Next = v.words.NextRound(o, p.Now())
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
	b.Untapped = untapped(v, o)
	b.OthersIn = o != nil && !o.Work.Untapped
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
		if i+1 < len(b.Groups) {
			g.Next = b.Groups[i+1].Name
		}
		g.Open = i == 0 && doubt == nil || doubt != nil && doubt.Group == g.ID
	}
	if doubt == nil {
		p.tellEntry(r, v)
	}
	v.Body = b
	p.send(w, r, status, "rounds", v)
}

// latest tells a page that is open what was last written down for each group, so that two
// helpers see each other's rounds.
func (p *Pages) latest(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/rounds")
	if v == nil {
		return
	}
	last, _, err := p.lastVisits(r, v)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Cache-Control", "private, no-store")
	_ = json.NewEncoder(w).Encode(map[string]any{"last": last})
}

func groupsInOrder(v *view, o *forecast.Outlook) []groupEntry {
	order := map[string]int{}
	expected, ice := map[string]forecast.Range{}, map[string]float64{}
	if o != nil {
		for _, g := range o.Work.Groups {
			if g.SinceVisit != nil {
				expected[g.Group], ice[g.Group] = g.HeldL, g.IceL
			}
		}
		next, _ := o.Work.Next()
		for i, g := range next {
			order[g.Group], expected[g.Group], ice[g.Group] = i+1, *g.VolumeL, 0
		}
	}
	var first, rest []groupEntry
	for _, g := range v.Site.Groups {
		e := groupEntry{ID: g.ID, Name: g.Name, Taps: g.Taps, Order: order[g.ID], Levels: records.Levels()}
		if o != nil {
			e.NotIn = o.Work.Group(g.ID).Untapped
			e.TipOut, e.AskLevel = o.Work.Group(g.ID).Decision == forecast.TipOut, o.Work.Group(g.ID).AskLevel
		}
		if e.Name == "" {
			e.Name = g.ID
		}
		if l, known := expected[g.ID]; known {
			v.expect(&e, &l, ice[g.ID])
		}
		e.Step = v.step()
		if holds := v.Site.Capacity(g.ID).VolumeL; holds > 0 {
			e.Holds = v.plainVolume(holds)
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

// expect fills in what is to be expected at a group, of ice besides.
func (v *view) expect(e *groupEntry, l *forecast.Range, iceL float64) {
	e.Expected = v.rough(l.P50)
	switch {
	case iceL >= littleL:
		e.Hangs = v.words.Hangs(l.P50, iceL)
	case l.P90 < littleL:
		e.Hangs = v.T("about_amount", "Volume", e.Expected)
	default:
		e.Hangs = v.words.About(*l)
	}
	if l.P50 < littleL {
		return
	}
	e.Figure, _ = v.words.RoughVolume(l.P50)
	low, _ := v.words.RoughVolume(l.P10)
	high, _ := v.words.RoughVolume(l.P90)
	e.Range = v.T("entry_range", "Low", low, "High", high)
}

// plainVolume is litres in the reader's unit as forms have it: whole from ten on, with a
// point below.
func (v *view) plainVolume(litres float64) string {
	x, _ := units.VolumeIn(litres, v.system)
	decimals := 0
	if x < 10 {
		decimals = 1
	}
	return strconv.FormatFloat(x, 'f', decimals, 64)
}

// step is by how much one press changes a volume, in the reader's unit.
func (v *view) step() string {
	if v.system == units.Metric {
		return "5"
	}
	return "1"
}
