package web

import (
	"errors"
	"net/http"
	"net/url"
	"time"

	"github.com/go-chi/chi/v5"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/alerts/message/sections"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
)

// How many bushes are told of on one page, and how many named.
const (
	mostEvenings = 20
	mostNames    = 500
)

// home leads to the only site, or lists them.
func (p *Pages) home(w http.ResponseWriter, r *http.Request) {
	v := p.view(w, r, "")
	if len(v.Sites) == 1 {
		to := v.At("")
		if done := r.URL.Query().Get("done"); done != "" {
			to += "?done=" + url.QueryEscape(done)
		}
		http.Redirect(w, r, to, http.StatusSeeOther)
		return
	}
	type row struct{ Href, Name, Evening string }
	var rows []row
	for _, s := range p.Outlooks.Sites() {
		if !v.Identity.Sees(s.ID) {
			continue
		}
		one := row{Name: s.Name}
		v.Site = &s
		one.Href = v.At("")
		if len(rows) == mostNames {
			break
		}
		if len(rows) >= mostEvenings { // the rest by name
			rows = append(rows, one)
			continue
		}
		one.Evening = v.T("page_none")
		if o := p.current(r.Context(), v); o != nil {
			one.Evening = v.words.Evening(o)
		} else if v.Stopped != "" {
			one.Evening, v.Stopped = v.Stopped, ""
		}
		rows = append(rows, one)
	}
	v.Site, v.Title, v.Body = nil, "thawline", rows
	p.send(w, r, http.StatusOK, "home", v)
}

type messageRow struct {
	ID, When, Words string
	Seen            bool
	Asks            bool // it is a question that is still open
}

func named(parts []sections.Section, names ...sections.Name) (out []sections.Section) {
	for _, n := range names {
		for _, part := range parts {
			if part.Name == n {
				out = append(out, part)
			}
		}
	}
	return out
}

// messages are what the person was told lately; where nobody logs in, what
// anybody was. What sends somebody to taps that are pulled is left out.
func (p *Pages) messages(r *http.Request, v *view, o *forecast.Outlook) ([]messageRow, error) {
	if !v.Identity.Role.May(auth.Crew) {
		return nil, nil
	}
	const most, shown = 100, 10
	recent, err := p.Messages.RecentOf(r.Context(), []string{v.Site.ID}, most)
	if err != nil {
		return nil, err
	}
	readers := p.settings.Load().Readers
	told := map[string]bool{} // decisions: where nobody logs in, each is shown once
	var out []messageRow
	for i := range recent {
		d := &recent[i]
		mine := d.Person == v.Identity.Person || v.Identity.Open && d.Urgent && readers[d.Person].Language == v.Lang && !told[d.DecisionID]
		if !mine || d.State != ledger.Sent || p.Now().Sub(d.MadeAt) > 48*time.Hour || len(out) == shown {
			continue
		}
		told[d.DecisionID] = true
		if o != nil && p.ofPulled(r, d, o) {
			continue
		}
		out = append(out, messageRow{ID: d.ID, When: v.Moment(d.MadeAt.In(v.Site.Zone)), Words: d.Words, Seen: !d.AckedAt.IsZero()})
	}
	return out, nil
}

// seen notes that the visitor has seen a message of theirs.
func (p *Pages) seen(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "")
	if v == nil {
		return
	}
	id := r.PostFormValue("message")
	_, _, deliveries, err := p.Messages.Decision(r.Context(), id)
	mine := false
	for i := range deliveries {
		mine = mine || deliveries[i].ID == id && (deliveries[i].Person == v.Identity.Person || v.Identity.Open)
	}
	if err != nil || !mine {
		p.fault(w, r, http.StatusNotFound, "fault_not_found")
		return
	}
	if err := p.Messages.Acknowledge(r.Context(), id, p.Now()); err != nil {
		p.failed(w, r, err)
		return
	}
	http.Redirect(w, r, v.At("/messages?done=done_seen"), http.StatusSeeOther)
}

// seenLink is where the link in a message leads. It asks first: programs that
// look at messages follow links.
func (p *Pages) seenLink(w http.ResponseWriter, r *http.Request) {
	v := p.view(w, r, "")
	id := chi.URLParam(r, "delivery")
	decision, _, deliveries, err := p.Messages.Decision(r.Context(), id)
	var found *ledger.Delivery
	for i := range deliveries {
		if deliveries[i].ID == id { // the whole of it: a part may be guessed
			found = &deliveries[i]
		}
	}
	if err != nil || found == nil {
		p.fault(w, r, http.StatusNotFound, "fault_no_message")
		return
	}
	p.speakTo(v, r, found.Person)
	asks := found.Kind == alerts.Question
	if r.Method == http.MethodPost {
		err := p.Messages.Acknowledge(r.Context(), id, p.Now())
		if said := answerOf(r); err == nil && asks && said != alerts.Unanswered {
			err = p.Messages.Answer(r.Context(), found.Site, decision.Facts.Warning, said, found.Person, p.Now())
		}
		if err != nil && !errors.Is(err, ledger.ErrNone) { // answered long since: it stays
			p.failed(w, r, err)
			return
		}
		found.AckedAt = p.Now()
	}
	v.Bare, v.Title = true, v.T("seen_title")
	v.Body = messageRow{ID: id, Words: found.Words, Seen: !found.AckedAt.IsZero(), Asks: asks && found.AckedAt.IsZero()}
	p.send(w, r, http.StatusOK, "seen", v)
}
