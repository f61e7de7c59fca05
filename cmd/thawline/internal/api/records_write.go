package api

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

func (s *server) writeRecords() {
	s.addRecords()
	s.correctRecord()
	s.removeRecord()
	s.undoRecord()
}

func (s *server) addRecords() {
	type ask struct {
		SitePath
		Key string `header:"Idempotency-Key" doc:"8 to 128 letters, digits and -_.: ; the same records with the same key again write nothing and give the same answer; other records with it are refused"`
		Spoken
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
	add(s, auth.WriteRecords, huma.Operation{OperationID: "add-records", Method: http.MethodPost, Path: "/sites/{site}/records",
		Summary: "Add records", Description: "Keeps visits, all of them or none. A visit is named by group and moment: the same again adds nothing, other figures for it are a correction, and what was there before is kept. The same litres of a group again within ten minutes are the same record; other litres within two hours are a further load of that visit."},
		func(ctx context.Context, in *ask) (*answer, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			if in.Key != "" && !idempotencyKey.MatchString(in.Key) {
				return nil, huma.Error400BadRequest("the Idempotency-Key has 8 to 128 letters, digits and -_.:")
			}
			words, err := s.wordsIn(in.Language)
			if err != nil {
				return nil, s.failed("find words", err)
			}
			e := intake.Entry{Site: site, Way: intake.API, From: auth.From(ctx), Words: words}
			var faults []error
			for i := range in.Body.Records {
				v, fault := read(site, &in.Body.Records[i], fmt.Sprintf("body.records[%d]", i))
				if fault != nil {
					faults = append(faults, fault)
				}
				e.Visits = append(e.Visits, v)
			}
			if len(faults) > 0 {
				return nil, huma.Error422UnprocessableEntity(nothingWritten, faults...)
			}
			if in.Key != "" {
				e.Key = site.ID + "/api/" + in.Key
				if e.Print, err = printOf(in.Body); err != nil {
					return nil, s.failed("write records", err)
				}
			}
			r, err := s.Intake.Take(ctx, e, s.Now())
			if errors.Is(err, archive.ErrOtherEntry) {
				return nil, huma.Error422UnprocessableEntity(
					"this Idempotency-Key was used for other records; nothing was written: send these with a key of their own")
			}
			if err != nil {
				return nil, s.failed("write records", err)
			}
			if r.Refused {
				return nil, refusal(&r, words, func(i int) string { return fmt.Sprintf("body.records[%d]", i) })
			}
			out := &answer{}
			out.Body.Again, out.Body.Outcomes = r.Again, []Outcome{}
			for i := range r.Records {
				rec := &r.Records[i]
				out.Body.Outcomes = append(out.Body.Outcomes,
					Outcome{Group: rec.Visit.Group, CollectedAt: in.Body.Records[i].CollectedAt, Outcome: outcomeOf(rec.Outcome),
						ID: rec.ID, Say: message.Settle(rec.Say(words))})
			}
			return out, nil
		})
}

func (s *server) correctRecord() {
	type change struct {
		RecordPath
		IfMatch string `header:"If-Match" doc:"the revision that is corrected, in quotes"`
		Spoken
		Body Figures
	}
	add(s, auth.WriteRecords, huma.Operation{OperationID: "correct-record", Method: http.MethodPut, Path: "/sites/{site}/records/{id}",
		Summary: "Correct a record", Description: "Replaces the figures of a record; what it said before is kept.",
		Errors: []int{http.StatusPreconditionFailed, http.StatusPreconditionRequired}},
		func(ctx context.Context, in *change) (*kept, error) {
			site, old, err := s.stored(ctx, in.Site, in.ID, in.IfMatch)
			if err != nil {
				return nil, err
			}
			fresh := NewRecord{Group: old.Group, CollectedAt: old.CollectedAt.Format(time.RFC3339), Figures: in.Body}
			v, fault := read(site, &fresh, "body")
			if fault != nil {
				return nil, huma.Error422UnprocessableEntity(nothingWritten, fault)
			}
			v.DateOnly, v.CollectedAt = old.DateOnly, old.CollectedAt
			words, err := s.wordsIn(in.Language)
			if err != nil {
				return nil, s.failed("find words", err)
			}
			r, err := s.Intake.Correct(ctx,
				intake.Entry{Site: site, Visits: []records.Visit{v}, Way: intake.API, From: auth.From(ctx), Words: words}, in.ID,
				revisionOf(in.IfMatch), s.Now())
			if err != nil {
				return nil, s.notChanged(err)
			}
			if r.Refused {
				return nil, refusal(&r, words, func(int) string { return "body" })
			}
			return s.now(ctx, site, in.ID)
		})
}

func (s *server) removeRecord() {
	type remove struct {
		RecordPath
		IfMatch string `header:"If-Match" doc:"the revision that is taken out, in quotes"`
	}
	add(s, auth.WriteRecords, huma.Operation{OperationID: "remove-record", Method: http.MethodDelete,
		Path: "/sites/{site}/records/{id}", Summary: "Take a record out",
		Description: "Takes a record out of the lists; it is kept, and undo gives it back.",
		Errors:      []int{http.StatusPreconditionFailed, http.StatusPreconditionRequired}},
		func(ctx context.Context, in *remove) (*struct{}, error) {
			if _, _, err := s.stored(ctx, in.Site, in.ID, in.IfMatch); err != nil {
				return nil, err
			}
			if err := s.Records.Remove(ctx, in.ID, revisionOf(in.IfMatch), auth.From(ctx).Name, s.Now()); err != nil {
				return nil, s.notChanged(err)
			}
			return nil, nil
		})
}

func (s *server) undoRecord() {
	add(s, auth.WriteRecords, huma.Operation{OperationID: "undo-record", Method: http.MethodPost,
		Path: "/sites/{site}/records/{id}/undo", Summary: "Undo the last change",
		Description: "Gives back what a record said before its last change."},
		func(ctx context.Context, in *RecordPath) (*kept, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			of, err := s.Records.Visit(ctx, in.ID, site.Zone)
			if err == nil && of.Site != site.ID {
				err = archive.ErrNoVisit
			}
			if err == nil {
				err = s.Records.Undo(ctx, in.ID, auth.From(ctx).Name, s.Now())
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
			return nil, nil, huma.Error412PreconditionFailed(fmt.Sprintf("the record has changed since: it is at revision %d",
				stored[i].Revision))
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

const nothingWritten = "nothing was written: put these right first"

// read reads a record that was sent; where tells its place in the body.
func read(site *forecast.Site, r *NewRecord, where string) (records.Visit, error) {
	v := records.Visit{Group: r.Group, Taps: r.Taps, VolumeL: math.NaN(), BrixPct: math.NaN(), Note: r.Note}
	at, dateOnly, err := records.ParseMoment(r.CollectedAt, site.Zone)
	if err != nil {
		return v, &huma.ErrorDetail{Location: where + ".collected_at",
			Message: "not a moment: write it like 2026-03-20T17:30:00-04:00 or 2026-03-20", Value: r.CollectedAt}
	}
	v.CollectedAt, v.DateOnly = at, dateOnly
	if r.VolumeL != nil {
		v.VolumeL = *r.VolumeL
	}
	if r.Brix != nil {
		v.BrixPct = *r.Brix
	}
	return v, nil
}

// refusal says what is wrong with records; where tells the place of each in the body.
func refusal(r *intake.Result, words *message.Words, where func(i int) string) error {
	if r.Barred {
		return huma.Error403Forbidden(message.Settle(words.Say("intake_barred", nil)))
	}
	var faults []error
	for i := range r.Records {
		for k := range r.Records[i].Doubts {
			if d := &r.Records[i].Doubts[k]; d.Refusal {
				faults = append(faults, &huma.ErrorDetail{Location: where(i) + placeOf[d.Kind], Message: message.Settle(words.Doubt(d))})
			}
		}
	}
	return huma.Error422UnprocessableEntity(nothingWritten, faults...)
}

// outcomeOf is what an outcome is called here.
func outcomeOf(o intake.Outcome) string {
	if o == intake.Written {
		return "added"
	}
	return string(o)
}
