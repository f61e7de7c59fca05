package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"net/http"
	"regexp"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// Figures are what a visit found.
type Figures struct {
	Taps    int      `json:"taps,omitempty" minimum:"0" maximum:"1000000" doc:"how many taps it speaks of; the group's own where it is left out"`
	VolumeL *float64 `json:"volume_l" required:"false" nullable:"true" doc:"litres of sap; null where nothing was collected or looked at, 0 where the containers were empty"`
	Brix    *float64 `json:"brix" required:"false" nullable:"true" doc:"sugar in per cent by weight; null where it was not measured"`
	Note    string   `json:"note,omitempty" doc:"full, ice and not checked are understood; 500 letters at most"`
}

// NewRecord is a visit to be kept.
type NewRecord struct {
	Group       string `json:"group" required:"false" maxLength:"64" doc:"id or name; it may be left out where the site has only one"`
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

// Spoken is in which language it is said what became of records, or is wrong with them.
type Spoken struct {
	Language string `header:"Accept-Language" doc:"English where it is left out"`
}

// Outcome says what became of one record that was sent.
type Outcome struct {
	Group       string `json:"group"`
	CollectedAt string `json:"collected_at"`
	Outcome     string `json:"outcome" enum:"added,same,load,corrected,brought_back" doc:"same: it is there already, and nothing was written; load: written, as a further load of a visit; brought_back: it had been taken out"`
	ID          string `json:"id" doc:"of the record that it is"`
	Say         string `json:"say" doc:"what became of it, in the language of Accept-Language"`
}

// RecordPath names a record in an address.
type RecordPath struct {
	SitePath
	ID string `path:"id" doc:"id of the record" maxLength:"64"`
}

func (s *server) records() {
	s.readRecords()
	s.writeRecords()
	s.taps()
	s.house()
	s.classes()
	s.observations()
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
	add(s, auth.ReadRecords, huma.Operation{OperationID: "list-records", Method: http.MethodGet, Path: "/sites/{site}/records",
		Summary: "Records", Description: "Lists what was collected, the oldest first.", Errors: []int{http.StatusNotModified}},
		func(ctx context.Context, in *ask) (*answer, error) {
			site, stored, err := s.visits(ctx, in.Site, in.From, in.To)
			if err != nil {
				return nil, err
			}
			out := &answer{Status: http.StatusOK, Body: []Record{}}
			sum := sha256.New()
			crew := auth.From(ctx).Can(auth.WriteRecords)
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
	add(s, auth.ReadRecords, huma.Operation{OperationID: "get-records-file", Method: http.MethodGet, Path: "/sites/{site}/records.csv",
		Summary: "Records as a file", Description: "The record file (CSV) that `thawline records import` takes.",
		Responses: map[string]*huma.Response{"200": {Description: "The file",
			Content: map[string]*huma.MediaType{"text/csv": {Schema: &huma.Schema{Type: "string"}}}}}},
		func(ctx context.Context, in *askFile) (*file, error) {
			site, stored, err := s.visits(ctx, in.Site, in.From, in.To)
			if err != nil {
				return nil, err
			}
			var n records.Notebook
			for i := range stored {
				n.Visits = append(n.Visits, stored[i].Visit)
			}
			if n.Taps, err = s.tapsBetween(ctx, site, in.From, in.To); err != nil {
				return nil, s.failed("read records", err)
			}
			var b bytes.Buffer
			if err := records.WriteNotebook(&b, n, site.Zone); err != nil {
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
			return nil, nil, huma.Error422UnprocessableEntity("from is not a date",
				&huma.ErrorDetail{Location: "query.from", Message: "write it like 2026-03-20", Value: from})
		}
	}
	if to != "" {
		if end, err = time.ParseInLocation(time.DateOnly, to, site.Zone); err != nil {
			return nil, nil, huma.Error422UnprocessableEntity("to is not a date",
				&huma.ErrorDetail{Location: "query.to", Message: "write it like 2026-03-20", Value: to})
		}
		end = end.AddDate(0, 0, 1)
	}
	stored, err := s.Records.Visits(ctx, id, first, site.Zone)
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
		NewRecord: NewRecord{Group: v.Group, CollectedAt: v.CollectedAt.In(site.Zone).Format(time.RFC3339),
			Figures: Figures{Taps: v.Taps, Note: v.Note}}}
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

const anyRevision = "*"

// placeOf is where in a record stands what is doubted.
var placeOf = map[records.Kind]string{records.Future: ".collected_at", records.SameTwice: ".collected_at", records.TooMuch: ".volume_l",
	records.TooMuchATap: ".volume_l", records.BelowZero: ".volume_l", records.WhichIsIt: ".volume_l",
	records.TooSweet: ".brix", records.SugarBelowZero: ".brix", records.TapsBelowZero: ".taps", records.LongNote: ".note", records.NoGroup: ".group",
	records.UnknownGroup: ".group"}
