package web

import (
	"errors"
	"net/http"
	"strconv"

	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast/archive"
)

// takeBack takes back an entry, and says so where it was made.
func (p *Pages) takeBack(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/rounds")
	if v == nil {
		return
	}
	number, err := strconv.ParseInt(r.PostFormValue("entry"), 10, 64)
	if err != nil || number < 1 {
		p.fault(w, r, http.StatusBadRequest, "entry_wrong_form")
		return
	}
	undone, err := p.Intake.Undo(r.Context(), v.Site, number, intake.Form, v.writer(), p.Now())
	switch {
	case err != nil:
		p.failed(w, r, err)
	case undone.Barred, undone.None:
		status := http.StatusConflict
		if undone.Barred {
			status = http.StatusForbidden
		}
		v.Title, v.Body = v.T("fault_title"), undone.Say(v.words, v.Site)
		p.send(w, r, status, "fault", v)
	default:
		page := "/rounds"
		if r.PostFormValue("from") == "records" {
			page = "/records"
		}
		http.Redirect(w, r, v.At(page+"?entry="+r.PostFormValue("entry")), http.StatusSeeOther)
	}
}

// tellEntry says at the head of a page what became of the entry that its address names,
// to those who may write, and offers to take it back.
func (p *Pages) tellEntry(r *http.Request, v *view) {
	number, err := strconv.ParseInt(r.URL.Query().Get("entry"), 10, 64)
	if err != nil || !v.Identity.Can(auth.WriteRecords) {
		return
	}
	result, err := p.Intake.Entry(r.Context(), v.Site, number)
	if err != nil {
		if !errors.Is(err, archive.ErrNoEntry) {
			p.Log.Error("what became of an entry can't be told", "site", v.Site.ID, "error", err)
		}
		return
	}
	if v.Notice = result.Say(v.words); len(result.Records) > 1 && !result.Undone {
		v.Notice = result.Counts(v.words)
	}
	if result.Wrote {
		v.Undo = number
	}
}

// lastEntry is the reader's last entry and the record that it is in; 0 where there is
// none of one record alone.
func (p *Pages) lastEntry(r *http.Request, v *view) (number int64, record string, err error) {
	if !v.Identity.Can(auth.WriteRecords) {
		return 0, "", nil
	}
	number, err = p.Intake.LastEntry(r.Context(), v.Site, intake.Form, v.writer())
	if errors.Is(err, archive.ErrNoEntry) {
		return 0, "", nil
	}
	if err != nil {
		return 0, "", err
	}
	result, err := p.Intake.Entry(r.Context(), v.Site, number)
	if err != nil || len(result.Records) != 1 {
		return 0, "", err
	}
	return number, result.Records[0].ID, nil
}
