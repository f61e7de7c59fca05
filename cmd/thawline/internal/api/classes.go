package api

import (
	"context"
	"errors"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// NewClassVisit is a visit of a class that is to be booked. Nobody is named.
type NewClassVisit struct {
	Day      string `json:"day" doc:"local date" example:"2026-03-24"`
	From     string `json:"from" doc:"by the bush's clock" example:"09:00"`
	To       string `json:"to" doc:"by the bush's clock" example:"11:30"`
	Learners int    `json:"learners,omitempty" minimum:"0" doc:"who come; 0 where nobody has said"`
}

// ClassVisit is a visit that is booked. What it takes, and which programme fits, is in the
// outlook's classes, by the same id.
type ClassVisit struct {
	ID       string    `json:"id"`
	From     time.Time `json:"from"`
	To       time.Time `json:"to"`
	Learners int       `json:"learners" doc:"0 where nobody has said"`
	BookedAt time.Time `json:"booked_at"`
}

// BookedClass says what became of a visit that was sent.
type BookedClass struct {
	ClassVisit
	Outcome string `json:"outcome" enum:"added,same" doc:"same: a visit was booked for these hours already"`
}

func classOf(c *records.ClassVisit) ClassVisit {
	return ClassVisit{ID: c.ID, From: c.Start(), To: c.End(), Learners: c.Learners, BookedAt: c.BookedAt.UTC()}
}

func (s *server) classes() {
	type list struct{ Body []ClassVisit }
	add(s, auth.ReadRecords, huma.Operation{OperationID: "list-classes", Method: http.MethodGet, Path: "/sites/{site}/classes",
		Summary: "Booked visits", Description: "Lists the visits of classes that are booked from today on, in their order."},
		func(ctx context.Context, in *SitePath) (*list, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			booked, err := s.Intake.Archive.Classes(ctx, site.ID, s.Now(), site.Zone)
			if err != nil {
				return nil, s.failed("read records", err)
			}
			out := &list{Body: []ClassVisit{}}
			for i := range booked {
				out.Body = append(out.Body, classOf(&booked[i]))
			}
			return out, nil
		})

	type write struct {
		SitePath
		Spoken
		Body NewClassVisit
	}
	type answer struct{ Body BookedClass }
	add(s, auth.WriteRecords, huma.Operation{OperationID: "book-class", Method: http.MethodPost, Path: "/sites/{site}/classes",
		Summary: "Book a visit", Description: "Books a visit of a class: sap is held back for it from then on. Keepers and tokens book; the same day and hours again are the same visit, so that a request may be sent again."},
		func(ctx context.Context, in *write) (*answer, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			c, err := records.ReadClass(in.Body.Day, in.Body.From, in.Body.To, site.Zone)
			if c.Learners = in.Body.Learners; err == nil {
				var outcome archive.Outcome
				if c, outcome, err = s.Intake.BookClass(ctx, site, auth.From(ctx), c, s.Now()); err == nil {
					return &answer{BookedClass{classOf(&c), string(outcome)}}, nil
				}
			}
			return nil, s.notBooked(err, in.Language)
		})

	add(s, auth.WriteRecords, huma.Operation{OperationID: "cancel-class", Method: http.MethodDelete, Path: "/sites/{site}/classes/{id}",
		Summary: "Take a visit back", Description: "Takes a visit back: nothing is held back for it any more, and nothing more is said of it."},
		func(ctx context.Context, in *RecordPath) (*struct{}, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			err = s.Intake.WithdrawClass(ctx, site, auth.From(ctx), in.ID)
			if errors.Is(err, archive.ErrNoEntry) {
				return nil, huma.Error404NotFound("no such visit is booked")
			}
			if err != nil {
				return nil, s.notBooked(err, "")
			}
			return nil, nil
		})
}

// notBooked words why a visit was not booked, or not taken back.
func (s *server) notBooked(err error, language string) error {
	var fault *records.ClassFault
	switch {
	case errors.Is(err, intake.ErrNotAllowed):
		return huma.Error403Forbidden("keepers book visits and take them back")
	case !errors.As(err, &fault):
		return s.failed("write records", err)
	}
	words, err := s.WordsIn(language)
	if err != nil {
		return s.failed("find words", err)
	}
	at := map[string]string{"day": "body.day", "hours": "body.from", "learners": "body.learners"}[fault.Kind]
	return huma.Error422UnprocessableEntity(nothingWritten,
		&huma.ErrorDetail{Location: at, Message: words.Say("class_fault_"+fault.Kind, nil)})
}
