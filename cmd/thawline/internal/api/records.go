package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"thawline/cmd/thawline/internal/access"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
	"thawline/forecast/units"
)

// Figures are what a visit found.
type Figures struct {
	Taps    int      `json:"taps,omitempty" minimum:"0" maximum:"1000000" doc:"how many taps it speaks of; the group's own where it is left out"`
	VolumeL *float64 `json:"volume_l" required:"false" nullable:"true" minimum:"0" doc:"litres of sap; null where nothing was collected or looked at, 0 where the containers were empty"`
	Brix    *float64 `json:"brix" required:"false" nullable:"true" minimum:"0" maximum:"15" doc:"sugar in per cent by weight; null where it was not measured"`
	Note    string   `json:"note,omitempty" maxLength:"500" doc:"full, ice and not checked are understood"`
}

// NewRecord is a visit to be kept.
type NewRecord struct {
	Group       string `json:"group" minLength:"1" maxLength:"64"`
	CollectedAt string `json:"collected_at" doc:"RFC 3339, or a date where the hour is not known" example:"2026-03-20T17:30:00-04:00"`
	Figures
}

// Record is a visit that is kept.
type Record struct {
	ID string `json:"id"`
	NewRecord
	Revision   int       `json:"revision" doc:"counts corrections; If-Match wants it"`
	RecordedAt time.Time `json:"recorded_at"`
	RecordedBy string    `json:"recorded_by,omitempty" doc:"left out for those who only look on"`
}

// Outcome says what became of one record that was sent.
type Outcome struct {
	Group       string `json:"group"`
	CollectedAt string `json:"collected_at"`
	Outcome     string `json:"outcome" enum:"added,same,corrected,brought_back" doc:"brought_back: it had been taken out"`
}

// RecordPath names a record in an address.
type RecordPath struct {
	SitePath
	ID string `path:"id" doc:"id of the record" maxLength:"64"`
}

func (s *server) records() {
	s.readRecords()
	s.writeRecords()
}

func (s *server) readRecords() {
	type ask struct {
		SitePath
		From        string `query:"from" format:"date" doc:"from this local date on"`
		To          string `query:"to" format:"date" doc:"up to this local date, which still counts"`
		IfNoneMatch string `header:"If-None-Match"`
	}
	type answer struct {
		Status int
		ETag   string `header:"ETag"`
		Body   []Record
	}
	add(s, access.ReadRecords, huma.Operation{OperationID: "list-records", Method: http.MethodGet, Path: "/sites/{site}/records", Summary: "Records", Description: "Lists what was collected, the oldest first.", Errors: []int{http.StatusNotModified}},
		func(ctx context.Context, in *ask) (*answer, error) {
			site, stored, err := s.visits(ctx, in.Site, in.From, in.To)
			if err != nil {
				return nil, err
			}
			out := &answer{Status: http.StatusOK, Body: []Record{}}
			sum := sha256.New()
			crew := access.From(ctx).Can(access.WriteRecords)
			for i := range stored {
				r := recordOf(site, &stored[i])
				if !crew {
					r.RecordedBy = ""
				}
				_, _ = fmt.Fprintf(sum, "%s %d\n", r.ID, r.Revision)
				out.Body = append(out.Body, r)
			}
			_, _ = fmt.Fprint(sum, crew)
			out.ETag = `"` + hex.EncodeToString(sum.Sum(nil)[:12]) + `"`
			if in.IfNoneMatch == out.ETag {
				return nil, huma.ErrorWithHeaders(huma.Status304NotModified(), http.Header{"ETag": {out.ETag}})
			}
			return out, nil
		})

	type file struct {
		ContentType string `header:"Content-Type"`
		Disposition string `header:"Content-Disposition"`
		Body        []byte
	}
	type askFile struct {
		SitePath
		From string `query:"from" format:"date"`
		To   string `query:"to" format:"date"`
	}
	add(s, access.ReadRecords, huma.Operation{OperationID: "get-records-file", Method: http.MethodGet, Path: "/sites/{site}/records.csv", Summary: "Records as a file", Description: "The record file (CSV) that `thawline records import` takes."},
		func(ctx context.Context, in *askFile) (*file, error) {
			site, stored, err := s.visits(ctx, in.Site, in.From, in.To)
			if err != nil {
				return nil, err
			}
			visits := make([]records.Visit, len(stored))
			for i := range stored {
				visits[i] = stored[i].Visit
			}
			var b bytes.Buffer
			if err := records.WriteCSV(&b, visits, site.Zone); err != nil {
				return nil, s.failed("write records", err)
			}
			return &file{"text/csv; charset=utf-8", `attachment; filename="records.csv"`, b.Bytes()}, nil
		})
}

// visits are a site's kept visits between two local dates, "" for no bound.
func (s *server) visits(ctx context.Context, id, from, to string) (*forecast.Site, []archive.Stored, error) {
	site, err := s.site(ctx, id)
	if err != nil {
		return nil, nil, err
	}
	var first, end time.Time
	if from != "" {
		if first, err = time.ParseInLocation(time.DateOnly, from, site.Zone); err != nil {
			return nil, nil, huma.Error422UnprocessableEntity("from is not a date", &huma.ErrorDetail{Location: "query.from", Message: "write it like 2026-03-20", Value: from})
		}
	}
	if to != "" {
		if end, err = time.ParseInLocation(time.DateOnly, to, site.Zone); err != nil {
			return nil, nil, huma.Error422UnprocessableEntity("to is not a date", &huma.ErrorDetail{Location: "query.to", Message: "write it like 2026-03-20", Value: to})
		}
		end = end.AddDate(0, 0, 1)
	}
	stored, err := s.Archive.Visits(ctx, id, first, site.Zone)
	if err != nil {
		return nil, nil, s.failed("read records", err)
	}
	for i := range stored {
		if !end.IsZero() && !stored[i].CollectedAt.Before(end) {
			return site, stored[:i], nil // they are in order
		}
	}
	return site, stored, nil
}

func recordOf(site *forecast.Site, v *archive.Stored) Record {
	r := Record{ID: v.ID, Revision: v.Revision, RecordedAt: v.RecordedAt, RecordedBy: v.RecordedBy,
		NewRecord: NewRecord{Group: v.Group, CollectedAt: v.CollectedAt.In(site.Zone).Format(time.RFC3339), Figures: Figures{Taps: v.Taps, Note: v.Note}}}
	if v.DateOnly {
		r.CollectedAt = v.CollectedAt.Format(time.DateOnly)
	}
	if !math.IsNaN(v.VolumeL) {
		r.VolumeL = &v.VolumeL
	}
	if !math.IsNaN(v.BrixPct) {
		r.Brix = &v.BrixPct
	}
	return r
}

// idempotencyKey is what the header of that name may hold.
var idempotencyKey = regexp.MustCompile(`^[A-Za-z0-9_.:-]{8,128}$`)

func (s *server) writeRecords() {
	type ask struct {
		SitePath
		Key  string `header:"Idempotency-Key" doc:"8 to 128 letters, digits and -_.: ; the same records with the same key again write nothing and give the same answer; other records with it are refused"`
		Body struct {
			Records []NewRecord `json:"records" minItems:"1" maxItems:"5000"`
		}
	}
	type answer struct {
		Body struct {
			Outcomes []Outcome `json:"outcomes"`
			Again    bool      `json:"again" doc:"the key was sent before: nothing was written now"`
		}
	}
	add(s, access.WriteRecords, huma.Operation{OperationID: "add-records", Method: http.MethodPost, Path: "/sites/{site}/records", Summary: "Add records", Description: "Keeps visits, all of them or none. A visit is named by group and moment: the same again adds nothing, other figures for it are a correction, and what was there before is kept."},
		func(ctx context.Context, in *ask) (*answer, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			if in.Key != "" && !idempotencyKey.MatchString(in.Key) {
				return nil, huma.Error400BadRequest("the Idempotency-Key has 8 to 128 letters, digits and -_.:")
			}
			var visits []records.Visit
			var faults []error
			for i := range in.Body.Records {
				v, fault := s.visit(site, &in.Body.Records[i], fmt.Sprintf("body.records[%d]", i))
				if fault != nil {
					faults = append(faults, fault)
				}
				visits = append(visits, v)
			}
			if len(faults) > 0 {
				return nil, huma.Error422UnprocessableEntity("nothing was written: put these right first", faults...)
			}
			by := access.From(ctx).Name
			var puts []archive.Put
			again := false
			if in.Key == "" {
				puts, err = s.Archive.PutVisits(ctx, visits, by, s.Now())
			} else {
				var sent string
				if sent, err = printOf(in.Body); err == nil {
					puts, again, err = s.Archive.PutVisitsOnce(ctx, site.ID+"/api/"+in.Key, sent, visits, by, s.Now())
				}
			}
			if errors.Is(err, archive.ErrOtherEntry) {
				return nil, huma.Error422UnprocessableEntity("this Idempotency-Key was used for other records; nothing was written: send these with a key of their own")
			}
			if err != nil {
				return nil, s.failed("write records", err)
			}
			out := &answer{}
			out.Body.Again, out.Body.Outcomes = again, []Outcome{}
			for i := range puts {
				out.Body.Outcomes = append(out.Body.Outcomes, Outcome{puts[i].Visit.Group, in.Body.Records[i].CollectedAt, string(puts[i].Outcome)})
			}
			return out, nil
		})

	type change struct {
		RecordPath
		IfMatch string `header:"If-Match" doc:"the revision that is corrected, in quotes"`
		Body    Figures
	}
	add(s, access.WriteRecords, huma.Operation{OperationID: "correct-record", Method: http.MethodPut, Path: "/sites/{site}/records/{id}", Summary: "Correct a record", Description: "Replaces the figures of a record; what it said before is kept.", Errors: []int{http.StatusPreconditionFailed, http.StatusPreconditionRequired}},
		func(ctx context.Context, in *change) (*kept, error) {
			site, old, err := s.stored(ctx, in.Site, in.ID, in.IfMatch)
			if err != nil {
				return nil, err
			}
			fresh := NewRecord{Group: old.Group, CollectedAt: old.CollectedAt.Format(time.RFC3339), Figures: in.Body}
			v, fault := s.visit(site, &fresh, "body")
			if fault != nil {
				return nil, huma.Error422UnprocessableEntity("nothing was written: put this right first", fault)
			}
			v.DateOnly, v.CollectedAt = old.DateOnly, old.CollectedAt
			if err := s.Archive.Correct(ctx, in.ID, revisionOf(in.IfMatch), v, access.From(ctx).Name, s.Now()); err != nil {
				return nil, s.notChanged(err)
			}
			return s.now(ctx, site, in.ID)
		})

	type remove struct {
		RecordPath
		IfMatch string `header:"If-Match" doc:"the revision that is taken out, in quotes"`
	}
	add(s, access.WriteRecords, huma.Operation{OperationID: "remove-record", Method: http.MethodDelete, Path: "/sites/{site}/records/{id}", Summary: "Take a record out", Description: "Takes a record out of the lists; it is kept, and undo gives it back.", Errors: []int{http.StatusPreconditionFailed, http.StatusPreconditionRequired}},
		func(ctx context.Context, in *remove) (*struct{}, error) {
			if _, _, err := s.stored(ctx, in.Site, in.ID, in.IfMatch); err != nil {
				return nil, err
			}
			if err := s.Archive.Remove(ctx, in.ID, revisionOf(in.IfMatch), access.From(ctx).Name, s.Now()); err != nil {
				return nil, s.notChanged(err)
			}
			return nil, nil
		})

	add(s, access.WriteRecords, huma.Operation{OperationID: "undo-record", Method: http.MethodPost, Path: "/sites/{site}/records/{id}/undo", Summary: "Undo the last change", Description: "Gives back what a record said before its last change."},
		func(ctx context.Context, in *RecordPath) (*kept, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			of, err := s.Archive.Visit(ctx, in.ID, site.Zone)
			if err == nil && of.Site != site.ID {
				err = archive.ErrNoVisit
			}
			if err == nil {
				err = s.Archive.Undo(ctx, in.ID, access.From(ctx).Name, s.Now())
			}
			if errors.Is(err, archive.ErrNoVisit) {
				return nil, huma.Error404NotFound("there is no such record, or nothing to undo")
			}
			if err != nil {
				return nil, s.failed("write records", err)
			}
			return s.now(ctx, site, in.ID)
		})
}

// kept is a record with its revision as its tag.
type kept struct {
	ETag string `header:"ETag"`
	Body Record
}

// now is a record as it stands.
func (s *server) now(ctx context.Context, site *forecast.Site, id string) (*kept, error) {
	_, v, err := s.stored(ctx, site.ID, id, anyRevision)
	if err != nil {
		return nil, err
	}
	return &kept{`"` + strconv.Itoa(v.Revision) + `"`, recordOf(site, v)}, nil
}

const anyRevision = "*"

// stored finds a record at the revision that If-Match names: a change that
// somebody else has made since is not overwritten.
func (s *server) stored(ctx context.Context, siteID, id, ifMatch string) (*forecast.Site, *archive.Stored, error) {
	site, stored, err := s.visits(ctx, siteID, "", "")
	if err != nil {
		return nil, nil, err
	}
	for i := range stored {
		if stored[i].ID != id {
			continue
		}
		switch revision := plainTag(ifMatch); revision {
		case "":
			return nil, nil, huma.NewError(http.StatusPreconditionRequired, "say with If-Match which revision you change")
		case anyRevision, strconv.Itoa(stored[i].Revision):
			return site, &stored[i], nil
		default:
			return nil, nil, huma.Error412PreconditionFailed(fmt.Sprintf("the record has changed since: it is at revision %d", stored[i].Revision))
		}
	}
	return nil, nil, huma.Error404NotFound("there is no such record")
}

func plainTag(ifMatch string) string { return strings.Trim(strings.TrimPrefix(ifMatch, "W/"), `"`) }

// revisionOf is the revision that If-Match names, which stored has looked at.
func revisionOf(ifMatch string) int {
	n, err := strconv.Atoi(plainTag(ifMatch))
	if err != nil {
		return archive.Any
	}
	return n
}

// notChanged words why a record was not changed.
func (s *server) notChanged(err error) error {
	switch {
	case errors.Is(err, archive.ErrChanged):
		return huma.Error412PreconditionFailed("the record has been changed by somebody else just now; read it again")
	case errors.Is(err, archive.ErrNoVisit):
		return huma.Error404NotFound("there is no such record")
	}
	return s.failed("write records", err)
}

// printOf stands for what was sent: the same figures in another order of keys are the
// same.
func printOf(body any) (string, error) {
	data, err := json.Marshal(body)
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:16]), err
}

// visit checks a record that was sent; where tells its place in the body.
func (s *server) visit(site *forecast.Site, r *NewRecord, where string) (records.Visit, error) {
	v := records.Visit{Site: site.ID, Group: r.Group, Taps: r.Taps, VolumeL: math.NaN(), BrixPct: math.NaN(), Note: strings.Join(strings.Fields(r.Note), " ")}
	wrong := func(at, what string, value any) (records.Visit, error) {
		return v, &huma.ErrorDetail{Location: where + at, Message: what, Value: value}
	}
	var known []string
	var group *forecast.Group
	for i := range site.Groups {
		known = append(known, site.Groups[i].ID)
		if site.Groups[i].ID == r.Group {
			group = &site.Groups[i]
		}
	}
	if group == nil {
		return wrong(".group", "no such group at this site; "+units.Suggest(r.Group, known, "it has "+strings.Join(known, ", ")), r.Group)
	}
	if v.Taps == 0 {
		v.Taps = group.Taps
	}
	at, dateOnly, err := records.ParseMoment(r.CollectedAt, site.Zone)
	if err != nil {
		return wrong(".collected_at", "not a moment: write it like 2026-03-20T17:30:00-04:00 or 2026-03-20", r.CollectedAt)
	}
	v.CollectedAt, v.DateOnly = at, dateOnly
	if r.VolumeL != nil {
		v.VolumeL = *r.VolumeL
	}
	if r.Brix != nil {
		v.BrixPct = *r.Brix
	}
	for _, d := range records.Doubts([]records.Visit{v}, s.Now(), func(*records.Visit) records.Holds {
		return records.Holds{Taps: group.Taps, CapacityL: group.CapacityL()}
	}) {
		if d.Refusal {
			return wrong(placeOf[d.Kind], s.words.Doubt(&d), nil)
		}
	}
	return v, nil
}

// placeOf is where in a record stands what is doubted.
var placeOf = map[records.Kind]string{records.Future: ".collected_at", records.TooMuch: ".volume_l", records.TooMuchATap: ".volume_l", records.TooSweet: ".brix"}
