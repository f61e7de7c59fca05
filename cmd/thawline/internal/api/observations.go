package api

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// NewObservation is what was seen in the bush.
type NewObservation struct {
	Kind         string   `json:"kind" enum:"low,high,dripping,not_dripping,sweet,off,hardly_any,quarter_full,half_full,three_quarters_full,brim_full,buds,sign" doc:"low and high of the bush's own thermometer, of a night and of a day; whether taps drip; how sap tastes; how full pails are; leaf buds of the maples are open; a sign of spring that people go by"`
	At           string   `json:"at,omitempty" doc:"RFC 3339; when it was seen or read; now where it is left out" example:"2026-03-21T07:00:00-04:00"`
	Day          string   `json:"day,omitempty" doc:"local date of a low or high, of buds or a sign; a low is of the night that ended that morning; worked out from at where it is left out" example:"2026-03-21"`
	TemperatureC *float64 `json:"temperature_c,omitempty" doc:"of a low or high"`
	Group        string   `json:"group,omitempty" doc:"where only one group's taps were seen"`
	Sign         string   `json:"sign,omitempty" maxLength:"40" doc:"of a sign: what people call it" example:"frogs"`
}

// Observation is what was seen as it is kept.
type Observation struct {
	ID string `json:"id"`
	NewObservation
	RecordedAt time.Time `json:"recorded_at"`
	RecordedBy string    `json:"recorded_by,omitempty" doc:"left out for those who only look on"`
}

// NotedObservation says what became of one that was sent.
type NotedObservation struct {
	ID      string `json:"id"`
	Outcome string `json:"outcome" enum:"added,same,corrected" doc:"same: it was written down already; corrected: it takes the place of another"`
}

// NewObservations is what was seen at once.
type NewObservations struct {
	Observations []NewObservation `json:"observations" minItems:"1" maxItems:"2000"`
	Sure         bool             `json:"sure,omitempty" doc:"keep a temperature that the weather speaks against"`
}

// NotedObservations says what became of them.
type NotedObservations struct {
	Outcomes []NotedObservation `json:"outcomes"`
	Says     string             `json:"says"`
}

func (s *server) observations() {
	type list struct{ Body []Observation }
	add(s, auth.ReadRecords, huma.Operation{OperationID: "list-observations", Method: http.MethodGet,
		Path: "/sites/{site}/observations", Summary: "What was seen in the bush",
		Description: "Lists this winter's lows and highs of the bush's own thermometer and whether it dripped, the oldest first."},
		func(ctx context.Context, in *SitePath) (*list, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			stored, err := s.Intake.Observed(ctx, site, s.Now())
			if err != nil {
				return nil, s.failed("read records", err)
			}
			out := &list{Body: []Observation{}}
			for i := range stored {
				o := observationOf(&stored[i])
				if !auth.From(ctx).Can(auth.WriteRecords) {
					o.RecordedBy = ""
				}
				out.Body = append(out.Body, o)
			}
			return out, nil
		})
	s.observe()
	type gone struct{}
	add(s, auth.WriteRecords, huma.Operation{OperationID: "remove-observation", Method: http.MethodDelete,
		Path: "/sites/{site}/observations/{id}", Summary: "Take an observation out",
		Description: "Takes out what was seen; what it took the place of is there again. Everybody takes out what is their own, keepers what is anybody's."},
		func(ctx context.Context, in *RecordPath) (*gone, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			_, err = s.Intake.TakeBackObserved(ctx, site, auth.From(ctx), in.ID, s.Now())
			switch {
			case errors.Is(err, archive.ErrNoEntry):
				return nil, huma.Error404NotFound("there is no such observation")
			case errors.Is(err, intake.ErrNotAllowed):
				return nil, huma.Error403Forbidden("somebody else wrote that: a keeper can take it out")
			case err != nil:
				return nil, s.failed("write records", err)
			}
			return &gone{}, nil
		})
}

// observe takes what was seen.
func (s *server) observe() {
	type write struct {
		SitePath
		Spoken
		Key  string `header:"Idempotency-Key" maxLength:"128" doc:"the same again writes nothing"`
		Body NewObservations
	}
	type answer struct{ Body NotedObservations }
	add(s, auth.WriteRecords, huma.Operation{OperationID: "add-observations", Method: http.MethodPost,
		Path: "/sites/{site}/observations", Summary: "Note what was seen in the bush",
		Description: "Keeps lows and highs of the bush's thermometer, and whether it drips, how sap tastes, open buds and signs of spring: all of them or none. Another figure for the same night or day takes the place of the first. The forecast learns from it how this bush differs from its grid."},
		func(ctx context.Context, in *write) (*answer, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			words, err := s.wordsIn(in.Language)
			if err != nil {
				return nil, s.failed("find words", err)
			}
			seen := intake.Seen{Site: site, From: auth.From(ctx), Sure: in.Body.Sure}
			for i := range in.Body.Observations {
				b := &in.Body.Observations[i]
				o := records.Observation{Kind: records.ObservationKind(b.Kind), Day: b.Day, Group: b.Group, Sign: b.Sign,
					TemperatureC: orNaN(b.TemperatureC)}
				if b.At != "" {
					if o.At, _, err = records.ParseMoment(b.At, site.Zone); err != nil {
						return nil, huma.Error422UnprocessableEntity(nothingWritten,
							&huma.ErrorDetail{Location: fmt.Sprintf("body.observations[%d].at", i),
								Message: "not a moment: write it like 2026-03-21T07:00:00-04:00", Value: b.At})
					}
				}
				seen.List = append(seen.List, o)
			}
			if in.Key != "" {
				seen.Key = site.ID + "/api/" + in.Key
			}
			puts, err := s.Intake.Observe(ctx, seen, s.Now())
			if said, known := intake.SayObservationFault(words, err); known {
				return nil, huma.Error422UnprocessableEntity(nothingWritten,
					&huma.ErrorDetail{Location: "body", Message: message.Settle(said)})
			}
			if err != nil {
				return nil, s.failed("write records", err)
			}
			out := &answer{}
			out.Body.Says, out.Body.Outcomes = message.Settle(intake.SayObserved(words, site, puts)), []NotedObservation{}
			for i := range puts {
				out.Body.Outcomes = append(out.Body.Outcomes, NotedObservation{puts[i].ID, string(puts[i].Outcome)})
			}
			return out, nil
		})
}

func observationOf(s *archive.StoredObservation) Observation {
	o := Observation{ID: s.ID, RecordedAt: s.RecordedAt, RecordedBy: s.RecordedBy,
		NewObservation: NewObservation{Kind: string(s.Kind), At: s.At.Format(time.RFC3339), Day: s.Day, Group: s.Group, Sign: s.Sign}}
	if !math.IsNaN(s.TemperatureC) {
		o.TemperatureC = &s.TemperatureC
	}
	return o
}
