package web

import (
	"bytes"
	"encoding/json"
	"errors"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

// observedBody is what was seen in the bush, and the forms for it.
type observedBody struct {
	May  bool
	Key  string
	Unit string // of temperatures
	Rows []observedRow
}

type observedRow struct {
	ID, Says string
	May      bool // take it back
}

// mostObserved is how many observations a page shows.
const mostObserved = 12

// observed are the newest observations of this winter.
func (p *Pages) observed(r *http.Request, v *view) (*observedBody, error) {
	b := &observedBody{May: v.Identity.Role.May(auth.Crew), Key: uuid.NewString(), Unit: "°C"}
	if v.system == units.US {
		b.Unit = "°F"
	}
	all, err := p.Intake.Observed(r.Context(), v.Site, p.Now())
	for i := len(all) - 1; i >= 0 && len(b.Rows) < mostObserved; i-- {
		o := &all[i]
		b.Rows = append(b.Rows, observedRow{ID: o.ID, Says: intake.WhatObserved(v.words, v.Site, &o.Observation), May: b.May &&
			(v.May("keeper") || o.RecordedBy == v.writer().Name)})
	}
	return b, err
}

// observe takes what somebody saw in the bush, or takes it back: from a form, or from a
// phone that kept it while there was no signal.
func (p *Pages) observe(w http.ResponseWriter, r *http.Request) {
	page := "/rounds"
	switch from := r.PostFormValue("from"); from {
	case "records", "season", "class":
		page = "/" + from
	}
	v := p.ofSite(w, r, page)
	if v == nil {
		return
	}
	done, say := "done_observed", ""
	var err error
	if id := r.PostFormValue("take_back"); id != "" {
		done = "done_observed_undone"
		_, err = p.Intake.TakeBackObserved(r.Context(), v.Site, v.writer(), id, p.Now())
	} else {
		say, err = p.noteObserved(r, v)
	}
	status := http.StatusOK
	var wrong *wrongEntry
	said, known := intake.SayObservationFault(v.words, err)
	switch {
	case errors.Is(err, intake.ErrNotAllowed):
		status, say = http.StatusForbidden, said
	case known:
		status, say = http.StatusUnprocessableEntity, said
	case errors.As(err, &wrong):
		status, say = http.StatusUnprocessableEntity, v.why(wrong)
	case errors.Is(err, archive.ErrNoEntry):
		status, say = http.StatusNotFound, v.T("fault_no_record")
	case err != nil:
		p.Log.Error("what somebody saw was not kept", "site", v.Site.ID, "error", err)
		status, say = http.StatusServiceUnavailable, v.T("fault_here")
	}
	to := v.At(page + "?done=" + done)
	switch {
	case strings.Contains(r.Header.Get("Accept"), "application/json"):
		w.Header().Set("Content-Type", "application/json")
		if status == http.StatusForbidden {
			status = http.StatusUnprocessableEntity // to log in again would not help
		}
		w.WriteHeader(status)
		_ = json.NewEncoder(w).Encode(map[string]any{"say": say, "again": to})
	case status == http.StatusOK:
		http.Redirect(w, r, to, http.StatusSeeOther)
	default:
		v.Title, v.Body = v.T("fault_title"), say
		p.send(w, r, status, "fault", v)
	}
}

// noteObserved keeps what a form says and tells what became of it.
func (p *Pages) noteObserved(r *http.Request, v *view) (string, error) {
	key := r.PostFormValue("key")
	if !keyForm.MatchString(key) {
		return "", &wrongEntry{key: "entry_wrong_form"}
	}
	seen := intake.Seen{Site: v.Site, From: v.writer(), Key: v.Site.ID + "/seen/" + key, Sure: r.PostFormValue("sure") != ""}
	at := p.Now()
	if text := r.PostFormValue("ago"); text != "" { // kept on a phone for so many seconds
		ago, err := strconv.Atoi(text)
		if err != nil || ago < 0 || ago > longestKept {
			return "", &wrongEntry{key: "entry_wrong_time"}
		}
		at = at.Add(-time.Duration(ago) * time.Second)
	}
	system := v.system
	if s, err := units.ParseSystem(r.PostFormValue("units")); err == nil { // the page was made for
		system = s
	}
	switch do := records.ObservationKind(r.PostFormValue("do")); do {
	case records.Dripping, records.NotDripping, records.Sweet, records.Off, records.HardlyAny, records.QuarterFull, records.HalfFull,
		records.ThreeQuarters, records.BrimFull:
		seen.List = append(seen.List, records.Observation{Kind: do, At: at, Group: r.PostFormValue("group")})
	case records.Buds, records.Sign:
		seen.List = append(seen.List, records.Observation{Kind: do, At: at, Day: r.PostFormValue("day"), Sign: r.PostFormValue("sign")})
	case "read":
		for _, kind := range []records.ObservationKind{records.Low, records.High} {
			text := strings.TrimSpace(strings.ReplaceAll(r.PostFormValue(string(kind)), "−", "-"))
			if text == "" {
				continue
			}
			x, err := strconv.ParseFloat(strings.ReplaceAll(text, ",", "."), 64)
			if err != nil || !plainNumber.MatchString(text) {
				return "", &records.ObservationFault{Kind: "figure"}
			}
			if system == units.US {
				x = (x - 32) / 1.8
			}
			seen.List = append(seen.List, records.Observation{Kind: kind, At: at, Day: r.PostFormValue("day"), TemperatureC: x})
		}
	}
	if len(seen.List) == 0 {
		return "", &wrongEntry{key: "entry_empty"}
	}
	puts, err := p.Intake.Observe(r.Context(), seen, p.Now())
	if err != nil {
		return "", err
	}
	return intake.SayObserved(v.words, v.Site, puts), nil
}

// observationsCSV gives all that was seen in a bush as a file.
func (p *Pages) observationsCSV(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/records")
	if v == nil {
		return
	}
	stored, err := p.Intake.Archive.Observations(r.Context(), v.Site.ID, time.Time{}, v.Site.Zone)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	var list []records.Observation
	for i := range stored {
		list = append(list, stored[i].Observation)
	}
	var b bytes.Buffer
	if err := records.WriteObservations(&b, list, v.Site.Zone); err != nil {
		p.failed(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	w.Header().Set("Content-Disposition", `attachment; filename="observations.csv"`)
	_, _ = b.WriteTo(w)
}
