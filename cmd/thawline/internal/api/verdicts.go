package api

import (
	"context"
	"errors"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"thawline/alerts"
	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/auth"
	"thawline/forecast"
	"thawline/forecast/records"
	"thawline/forecast/season"
)

// Verdicts are what became of a season's warnings at a site.
type Verdicts struct {
	Site     string           `json:"site"`
	Since    time.Time        `json:"since"`
	Kinds    []alerts.Tally   `json:"kinds"`
	Verdicts []alerts.Verdict `json:"verdicts"`
	// From which chances this site is warned, and what the settings say.
	OverflowFrom Bound `json:"overflow_from"`
	RunFrom      Bound `json:"run_from"`
}

// Bound is the chance from which something is told.
type Bound struct {
	Chance   float64 `json:"chance"`
	Settings float64 `json:"settings"`
	Chosen   bool    `json:"chosen" doc:"the settings file says it: answers do not move it"`
}

// Said is the answer to a question.
type Said struct {
	Yes bool `json:"yes" doc:"it came true"`
}

// VerdictsOf counts what became of the warnings of the season that a moment lies in.
func VerdictsOf(ctx context.Context, m Messages, r Records, site *forecast.Site,
	thresholds func(context.Context, string, time.Time) (settings, tuned alerts.Thresholds, err error), now time.Time) (*Verdicts, error) {
	since := season.WinterStart(now, site.Zone)
	told, err1 := m.Warnings(ctx, site.ID, alerts.Judged, since)
	list, err2 := m.Verdicts(ctx, site.ID, since)
	stored, err3 := r.Visits(ctx, site.ID, since, site.Zone)
	settings, tuned, err4 := thresholds(ctx, site.ID, now)
	if err := errors.Join(err1, err2, err3, err4); err != nil {
		return nil, err
	}
	visits := make([]records.Visit, len(stored))
	for i := range stored {
		visits[i] = stored[i].Visit
	}
	return &Verdicts{Site: site.ID, Since: since.UTC(), Kinds: alerts.Tallies(told, list, visits),
		Verdicts:     append([]alerts.Verdict{}, list...),
		OverflowFrom: Bound{tuned.OverflowProbability, settings.OverflowProbability, settings.OverflowChosen},
		RunFrom:      Bound{tuned.RunProbability, settings.RunProbability, settings.RunChosen}}, nil
}

func (s *server) verdicts() {
	type out struct{ Body *Verdicts }
	add(s, auth.ReadMessages, huma.Operation{OperationID: "list-verdicts", Method: http.MethodGet, Path: "/sites/{site}/verdicts",
		Summary:     "What became of warnings",
		Description: "This season's warnings by kind: how many were sent, asked about and answered, came true or did not; and from which chances the site is warned."},
		func(ctx context.Context, in *SitePath) (*out, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			v, err := VerdictsOf(ctx, s.Messages, s.Records, site, s.Thresholds, s.Now())
			if err != nil {
				return nil, s.failed("read verdicts", err)
			}
			return &out{v}, nil
		})

	type ask struct {
		Delivery string `path:"delivery" doc:"id of the message" maxLength:"64"`
		Body     Said
	}
	add(s, auth.Acknowledge, huma.Operation{OperationID: "answer-message", Method: http.MethodPost, Path: "/messages/{delivery}/answer",
		Summary: "Answer a question", Description: "Answers whether a warning came true. An answer may be changed for an hour."},
		func(ctx context.Context, in *ask) (*struct{}, error) {
			decision, _, deliveries, err := s.Messages.Decision(ctx, in.Delivery)
			if err != nil && !errors.Is(err, ledger.ErrNone) {
				return nil, s.failed("read messages", err)
			}
			v := auth.From(ctx)
			for i := range deliveries {
				d := &deliveries[i]
				if d.ID != in.Delivery || d.Kind != alerts.Question || !v.Sees(d.Site) || !sees(&v, d) {
					continue
				}
				answer := alerts.No
				if in.Body.Yes {
					answer = alerts.Yes
				}
				by := v.Person
				if by == "" {
					by = v.Name
				}
				err := s.Messages.Answer(ctx, d.Site, decision.Facts.Warning, answer, by, s.Now())
				if errors.Is(err, ledger.ErrNone) {
					return nil, huma.Error409Conflict("it was answered more than an hour ago: the answer stays")
				}
				if err == nil {
					err = s.Messages.Acknowledge(ctx, d.ID, s.Now())
				}
				if err != nil {
					return nil, s.failed("answer", err)
				}
				return nil, nil
			}
			return nil, huma.Error404NotFound("there is no such question")
		})
}
