package web

import (
	"bytes"
	"context"
	"errors"
	"math"
	"net/http"
	"slices"
	"strconv"
	"sync"
	"time"

	"github.com/go-chi/chi/v5"
	"github.com/google/uuid"

	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/season"
	"thawline/forecast/units"
)

type recordsBody struct {
	Years  []link
	Rows   []recordRow
	Groups []link
	Total  string
	Now    string
	Edit   bool
	By     bool
	Year   int
	Key    string

	Observed *observedBody
}

type recordRow struct {
	ID, When, Group, Volume, Brix, Note, By string
	Revision                                int
	Plain                                   plainRecord
	Taps                                    bool // what was done to taps, not a visit
}

// plainRecord is what a form is filled with.
type plainRecord struct{ Group, Volume, Brix, Note string }

// records lists what was collected in a season, the newest first.
func (p *Pages) records(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/records")
	if v == nil {
		return
	}
	visitYears, err := p.visitYears(r.Context(), v.Site)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	events, err := p.Records.TapEvents(r.Context(), v.Site.ID, time.Time{}, v.Site.Zone)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	b := &recordsBody{Edit: v.Identity.Role.May(auth.Keeper), By: v.Identity.Role.May(auth.Crew),
		Now: p.Now().In(v.Site.Zone).Format("2006-01-02T15:04")}
	b.Year = seasonYear(p.Now(), v.Site.Zone)
	years := map[int]bool{b.Year: true}
	for _, year := range visitYears {
		years[year] = true
	}
	for i := range events {
		years[seasonYear(events[i].On, v.Site.Zone)] = true
	}
	tapsAfter := func(t time.Time) { // those of the season, the newest first
		for n := len(events) - 1; n >= 0 && !events[n].On.Before(t); n-- {
			if seasonYear(events[n].On, v.Site.Zone) == b.Year {
				b.Rows = append(b.Rows, v.tapRow(&events[n]))
			}
			events = events[:n]
		}
	}
	if asked, err := strconv.Atoi(r.URL.Query().Get("season")); err == nil && years[asked] {
		b.Year = asked
	}
	begins := season.WinterStart(time.Date(b.Year, time.March, 1, 0, 0, 0, 0, v.Site.Zone), v.Site.Zone)
	all, err := p.Records.VisitsWithin(r.Context(), v.Site.ID, begins, begins.AddDate(1, 0, 0), v.Site.Zone)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	for y := seasonYear(p.Now(), v.Site.Zone) + 1; len(years) > 0 && y > 1700; y-- {
		if years[y] {
			delete(years, y)
			b.Years = append(b.Years, link{Href: v.At("/records?season=" + strconv.Itoa(y)), Text: strconv.Itoa(y), Here: y == b.Year})
		}
	}
	for _, g := range v.Site.Groups {
		b.Groups = append(b.Groups, link{Href: g.ID, Text: g.Name})
	}
	for i := len(all) - 1; i >= 0; i-- {
		tapsAfter(all[i].CollectedAt)
		row := v.row(&all[i])
		b.Rows = append(b.Rows, row)
	}
	tapsAfter(time.Time{})
	b.Total, b.Key = intake.Total(v.words, b.Year, all), uuid.NewString()
	if b.Observed, err = p.observed(r, v); err != nil {
		p.failed(w, r, err)
		return
	}
	p.tellEntry(r, v)
	v.Body = b
	p.send(w, r, http.StatusOK, "records", v)
}

// visited are the seasons with visits as they were found last, of each site.
type visited struct {
	mu   sync.Mutex
	kept map[string]visitedYears
}

type visitedYears struct {
	mark  string
	years []int
}

// visitYears are the seasons in which a site was visited, in no order. All its visits are
// looked through when one was written since the last look.
func (p *Pages) visitYears(ctx context.Context, site *forecast.Site) (years []int, err error) {
	mark, err := p.Records.BriefMark(ctx, site.ID, p.PlaceKey(site))
	if err != nil {
		return nil, err
	}
	mark += " " + site.Zone.String()
	p.visited.mu.Lock()
	kept, found := p.visited.kept[site.ID]
	p.visited.mu.Unlock()
	if found && kept.mark == mark {
		return kept.years, nil
	}
	hours, err := p.Records.VisitHours(ctx, site.ID, site.Zone)
	if err != nil {
		return nil, err
	}
	for _, at := range hours {
		if year := seasonYear(at, site.Zone); !slices.Contains(years, year) {
			years = append(years, year)
		}
	}
	p.visited.mu.Lock()
	defer p.visited.mu.Unlock()
	if p.visited.kept == nil || len(p.visited.kept) >= mostPast {
		p.visited.kept = map[string]visitedYears{}
	}
	p.visited.kept[site.ID] = visitedYears{mark, years}
	return years, nil
}

func (v *view) row(s *archive.Stored) recordRow {
	row := recordRow{ID: s.ID, Revision: s.Revision, When: v.Moment(s.CollectedAt), Group: s.Group, Note: v.words.Note(s.Note), Volume: "–"}
	if s.DateOnly {
		row.When = v.Day(s.CollectedAt)
	}
	row.By = v.recordedBy(s.RecordedBy)
	for _, g := range v.Site.Groups {
		if g.ID == s.Group && g.Name != "" {
			row.Group = g.Name
		}
	}
	row.Plain = plainRecord{Group: s.Group, Note: row.Note}
	if s.Collected() {
		row.Volume = v.Volume(s.VolumeL)
		x, _ := units.VolumeIn(s.VolumeL, v.system)
		row.Plain.Volume = strconv.FormatFloat(math.Round(x*100)/100, 'f', -1, 64)
	}
	if !math.IsNaN(s.BrixPct) {
		row.Plain.Brix = strconv.FormatFloat(s.BrixPct, 'f', -1, 64)
		row.Brix = v.words.Number(row.Plain.Brix) + "\u00a0%"
	}
	return row
}

// recordedBy names who a record is from.
func (v *view) recordedBy(by string) string {
	switch by {
	case byPage:
		return v.T("records_by_page")
	case ByCommand:
		return v.T("records_by_command")
	}
	return by
}

// tapRow is what was done to taps, among the visits.
func (v *view) tapRow(s *archive.StoredTap) recordRow {
	row := recordRow{ID: s.ID, When: v.Moment(s.On), Group: v.groupName(s.Group), Volume: v.T("records_list_" + string(s.Kind)),
		By: v.recordedBy(s.RecordedBy), Taps: true}
	if s.DateOnly {
		row.When = v.Day(s.On)
	}
	return row
}

// seasonYear is the spring that a moment's season runs into.
func seasonYear(at time.Time, zone *time.Location) int {
	return season.WinterStart(at, zone).Year() + 1
}

// changeRecord corrects a record, takes it out, or gives back what it said
// before.
func (p *Pages) changeRecord(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/records")
	if v == nil {
		return
	}
	id := chi.URLParam(r, "id")
	all, err := p.Records.Visits(r.Context(), v.Site.ID, time.Time{}, v.Site.Zone)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	var old *archive.Stored
	for i := range all {
		if all[i].ID == id {
			old = &all[i]
		}
	}
	what := r.PostFormValue("do")
	if old == nil && what != "undo" {
		p.fault(w, r, http.StatusNotFound, "fault_no_record")
		return
	}
	by := v.writer().Name
	var done string
	switch what {
	case "ask":
		v.Body = map[string]any{"Row": v.row(old), "Volume": "", "Units": string(v.system)}
		p.send(w, r, http.StatusOK, "correct", v)
		return
	case "remove":
		done, err = "done_removed&id="+id, p.Records.Remove(r.Context(), id, lookedAt(r), by, p.Now())
	case "undo":
		done, err = "done_undone", p.undo(r, v, id, by)
	case "correct":
		if strconv.Itoa(old.Revision) != r.PostFormValue("revision") {
			p.fault(w, r, http.StatusConflict, "fault_changed_since")
			return
		}
		form := r.PostForm
		form.Set("group", old.Group)
		var visit records.Visit
		if visit, err = p.readVisit(form, v); err == nil {
			visit.CollectedAt, visit.DateOnly, visit.Taps = old.CollectedAt, old.DateOnly, old.Taps
			err = p.correct(r, v, id, old.Revision, visit)
		}
		done = "done_corrected"
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
	case errors.Is(err, archive.ErrChanged):
		p.fault(w, r, http.StatusConflict, "fault_changed_since")
	case err != nil:
		p.failed(w, r, err)
	default:
		http.Redirect(w, r, v.At("/records?done="+done), http.StatusSeeOther)
	}
}

// correct replaces the figures of a record.
func (p *Pages) correct(r *http.Request, v *view, id string, revision int, visit records.Visit) error {
	result, err := p.Intake.Correct(r.Context(),
		intake.Entry{Site: v.Site, Visits: []records.Visit{visit}, Way: intake.Form, From: v.writer(), Words: v.words}, id, revision,
		p.Now())
	if err == nil && result.Refused {
		err = &wrongEntry{say: result.Say(v.words)}
	}
	return err
}

// lookedAt is the revision that a form was made from, archive.Any where it does not
// say.
func lookedAt(r *http.Request) int {
	n, err := strconv.Atoi(r.PostFormValue("revision"))
	if err != nil || n < 1 {
		return archive.Any
	}
	return n
}

// undo gives back a record of this site and of no other.
func (p *Pages) undo(r *http.Request, v *view, id, by string) error {
	of, err := p.Records.Visit(r.Context(), id, v.Site.Zone)
	if err != nil {
		return err
	}
	if of.Site != v.Site.ID {
		return archive.ErrNoVisit
	}
	return p.Records.Undo(r.Context(), id, by, p.Now())
}

// recordsCSV gives the records of a site as the project's file.
func (p *Pages) recordsCSV(w http.ResponseWriter, r *http.Request) {
	v := p.ofSite(w, r, "/records")
	if v == nil {
		return
	}
	all, err := p.Records.Visits(r.Context(), v.Site.ID, time.Time{}, v.Site.Zone)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	events, err := p.Records.TapEvents(r.Context(), v.Site.ID, time.Time{}, v.Site.Zone)
	if err != nil {
		p.failed(w, r, err)
		return
	}
	var n records.Notebook
	for i := range all {
		n.Visits = append(n.Visits, all[i].Visit)
	}
	for i := range events {
		n.Taps = append(n.Taps, events[i].TapEvent)
	}
	var b bytes.Buffer
	if err := records.WriteNotebook(&b, n, v.Site.Zone); err != nil {
		p.failed(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	w.Header().Set("Content-Disposition", `attachment; filename="records.csv"`)
	_, _ = b.WriteTo(w)
}
