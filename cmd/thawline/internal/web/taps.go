package web

import (
	"errors"
	"net/http"
	"strconv"
	"time"

	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/season"
)

// pulledGroup is a group whose taps are pulled, with what can be done about it.
type pulledGroup struct {
	ID, Name, Since string
	Event           string // id of the record that can be undone, "" where only it can be tapped again
}

// pulledGroups are the groups of the view's site whose taps are pulled.
func (p *Pages) pulledGroups(r *http.Request, v *view) ([]pulledGroup, error) {
	now := p.Now()
	stored, err := p.Records.TapEvents(r.Context(), v.Site.ID, season.WinterStart(now, v.Site.Zone), v.Site.Zone)
	if err != nil {
		return nil, err
	}
	own := map[string][]archive.StoredTap{}
	var events []records.TapEvent
	for i := range stored {
		own[stored[i].Group] = append(own[stored[i].Group], stored[i])
		events = append(events, stored[i].TapEvent)
	}
	pulled := forecast.PulledGroups(v.Site, events, now)
	var out []pulledGroup
	for i := range v.Site.Groups {
		id := v.Site.Groups[i].ID
		since, is := pulled[id]
		if !is {
			continue
		}
		one := pulledGroup{ID: id, Name: v.groupName(id), Since: v.T("rounds_pulled_since", "When", v.Day(since.In(v.Site.Zone)))}
		if e := intake.InEffect(own[id], now); e != nil && e.Kind == records.Pulled {
			one.Event = e.ID
		}
		out = append(out, one)
	}
	return out, nil
}

// untapped are the groups of which nobody has said that this season's taps are in: all, or those
// left where somebody has said so of others.
func untapped(v *view, o *forecast.Outlook) (out []pulledGroup) {
	if o == nil {
		return nil
	}
	for i := range v.Site.Groups {
		if id := v.Site.Groups[i].ID; o.Work.Untapped || o.Work.Group(id).Untapped {
			out = append(out, pulledGroup{ID: id, Name: v.groupName(id)})
		}
	}
	return out
}

// saysPulled reports whether an entry says that the taps of its group were pulled, and
// whether it says anything else.
func saysPulled(r *http.Request) (pulled, more bool) {
	if r.PostFormValue("pulled") == "" {
		return false, true
	}
	for _, field := range []string{"volume", "full", "ice", "not_checked", "note", "found"} {
		more = more || r.PostForm.Get(field) != ""
	}
	return true, more
}

// notePulled keeps that the taps of the group of an entry were pulled when it was made,
// with what was found beside it, and says so.
func (p *Pages) notePulled(r *http.Request, v *view) (string, error) {
	at := p.Now().In(v.Site.Zone).Truncate(time.Millisecond) // as finely as visits are kept
	if text := r.PostForm.Get("ago"); text != "" {
		ago, err := strconv.Atoi(text)
		if err != nil || ago < 0 || ago > longestKept {
			return "", &wrongEntry{key: "entry_wrong_time"}
		}
		if ago > 0 {
			at = at.Truncate(time.Second).Add(-time.Duration(ago) * time.Second)
		}
	}
	return p.noteTap(r, v, records.TapEvent{Group: r.PostForm.Get("group"), Kind: records.Pulled, On: at})
}

func (p *Pages) noteTap(r *http.Request, v *view, e records.TapEvent) (string, error) {
	noted, err := p.Intake.NoteTap(r.Context(), v.Site, v.writer(), e, p.Now())
	if said, known := intake.SayTapFault(v.words, err); known {
		return "", &wrongEntry{say: said}
	}
	if err != nil {
		return "", err
	}
	return noted.Say(v.words, v.Site), nil
}

// taps notes that a group is tapped again, or undoes that its taps were pulled.
func (p *Pages) taps(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/rounds")
	if v == nil {
		return
	}
	var err error
	done := "done_tapped"
	switch r.PostFormValue("do") {
	case "tapped":
		_, err = p.noteTap(r, v, records.TapEvent{Group: r.PostFormValue("group"), Kind: records.Tapped,
			On: p.Now().Truncate(time.Second).In(v.Site.Zone)})
	case "undo":
		done = "done_taps_undone"
		_, err = p.Intake.UndoTap(r.Context(), v.Site, v.writer(), r.PostFormValue("id"), p.Now())
	default:
		p.fault(w, r, http.StatusBadRequest, "entry_wrong_form")
		return
	}
	var wrong *wrongEntry
	switch {
	case errors.As(err, &wrong):
		v.Title, v.Body = v.T("fault_title"), v.why(wrong)
		p.send(w, r, http.StatusUnprocessableEntity, "fault", v)
	case errors.Is(err, archive.ErrNoVisit):
		p.fault(w, r, http.StatusNotFound, "fault_no_record")
	case err != nil:
		p.failed(w, r, err)
	default:
		http.Redirect(w, r, v.At("/rounds?done="+done), http.StatusSeeOther)
	}
}

// ofPulled reports whether a message is about a group whose taps are pulled.
func (p *Pages) ofPulled(r *http.Request, d *ledger.Delivery, o *forecast.Outlook) bool {
	if o.Bush.TapsIn() == o.Bush.Taps || !d.Kind.OfGroup() {
		return false
	}
	decision, _, _, err := p.Messages.Decision(r.Context(), d.DecisionID)
	return err == nil && o.Bush.IsPulled(decision.Facts.GroupID)
}
