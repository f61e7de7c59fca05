package api

import (
	"context"
	"errors"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"thawline/alerts/message"
	"thawline/cmd/thawline/internal/auth"
	"thawline/cmd/thawline/internal/intake"
	"thawline/forecast"
	"thawline/forecast/archive"
	"thawline/forecast/records"
)

// NewTapEvent says what was done to the taps of a group.
type NewTapEvent struct {
	Group string `json:"group" minLength:"1" maxLength:"64"`
	Event string `json:"taps_event" enum:"tapped,pulled"`
	On    string `json:"on,omitempty" doc:"RFC 3339, or a date where the hour is not known; now where it is left out" example:"2026-04-08"`
}

// TapEvent is what was done to the taps of a group, as it is kept.
type TapEvent struct {
	ID string `json:"id"`
	NewTapEvent
	RecordedAt time.Time `json:"recorded_at"`
	RecordedBy string    `json:"recorded_by,omitempty" doc:"left out for those who only look on"`
}

// NotedTaps says what became of an event that was sent.
type NotedTaps struct {
	ID      string `json:"id" doc:"of the record that says so"`
	Outcome string `json:"outcome" enum:"added,same,brought_back" doc:"same: it was known; brought_back: it had been taken out"`
	Pulled  bool   `json:"pulled" doc:"whether the taps of the group are pulled now"`
}

func (s *server) taps() {
	type ask struct {
		SitePath
		From string `query:"from" format:"date" doc:"from this local date on"`
	}
	type list struct{ Body []TapEvent }
	add(s, auth.ReadRecords, huma.Operation{OperationID: "list-taps", Method: http.MethodGet, Path: "/sites/{site}/taps",
		Summary: "Taps put in and pulled", Description: "Lists when the taps of groups were put in and pulled, the oldest first."},
		func(ctx context.Context, in *ask) (*list, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			var from time.Time
			if in.From != "" {
				if from, err = time.ParseInLocation(time.DateOnly, in.From, site.Zone); err != nil {
					return nil, huma.Error422UnprocessableEntity("from is not a date",
						&huma.ErrorDetail{Location: "query.from", Message: "write it like 2026-03-20", Value: in.From})
				}
			}
			stored, err := s.Records.TapEvents(ctx, site.ID, from, site.Zone)
			if err != nil {
				return nil, s.failed("read records", err)
			}
			out := &list{Body: []TapEvent{}}
			for i := range stored {
				e := tapOf(&stored[i])
				if !auth.From(ctx).Can(auth.WriteRecords) {
					e.RecordedBy = ""
				}
				out.Body = append(out.Body, e)
			}
			return out, nil
		})

	type write struct {
		SitePath
		Spoken
		Body NewTapEvent
	}
	type answer struct{ Body NotedTaps }
	add(s, auth.WriteRecords, huma.Operation{OperationID: "add-taps", Method: http.MethodPost, Path: "/sites/{site}/taps",
		Summary:     "Say that taps were put in or pulled",
		Description: "Keeps that the taps of a group were put in or pulled. Nothing more is said of a group that is pulled, until it is tapped again. What is known already adds nothing."},
		func(ctx context.Context, in *write) (*answer, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			e, fault := s.tapEvent(site, &in.Body)
			if fault != nil {
				return nil, huma.Error422UnprocessableEntity("nothing was written: put this right first", fault)
			}
			noted, err := s.Intake.NoteTap(ctx, site, auth.From(ctx), e, s.Now())
			words, noWords := s.wordsIn(in.Language)
			if noWords != nil {
				return nil, s.failed("find words", noWords)
			}
			if said, known := intake.SayTapFault(words, err); known {
				at := ".group"
				if f := (*records.TapFault)(nil); errors.As(err, &f) && f.Kind == records.Future {
					at = ".on"
				}
				return nil, huma.Error422UnprocessableEntity("nothing was written: put this right first",
					&huma.ErrorDetail{Location: "body" + at, Message: message.Settle(said)})
			}
			if err != nil {
				return nil, s.failed("write records", err)
			}
			return &answer{NotedTaps{noted.ID, string(noted.Outcome), !noted.Pulled.IsZero()}}, nil
		})

	type kept struct{ Body TapEvent }
	add(s, auth.WriteRecords, huma.Operation{OperationID: "undo-taps", Method: http.MethodPost, Path: "/sites/{site}/taps/{id}/undo",
		Summary: "Undo the last change", Description: "Takes out what was written down of taps, or gives back what was taken out."},
		func(ctx context.Context, in *RecordPath) (*kept, error) {
			site, err := s.site(ctx, in.Site)
			if err != nil {
				return nil, err
			}
			stored, err := s.Intake.UndoTap(ctx, site, auth.From(ctx), in.ID, s.Now())
			if errors.Is(err, archive.ErrNoVisit) {
				return nil, huma.Error404NotFound("there is no such record")
			}
			if err != nil {
				return nil, s.failed("write records", err)
			}
			return &kept{tapOf(&stored)}, nil
		})
}

func (s *server) tapEvent(site *forecast.Site, in *NewTapEvent) (records.TapEvent, error) {
	e := records.TapEvent{Group: in.Group, Kind: records.TapKind(in.Event), On: s.Now().In(site.Zone).Truncate(time.Second)}
	if in.On == "" {
		return e, nil
	}
	at, dateOnly, err := records.ParseMoment(in.On, site.Zone)
	if err != nil {
		return e, &huma.ErrorDetail{Location: "body.on", Message: "not a moment: write it like 2026-04-08T14:30:00-04:00 or 2026-04-08",
			Value: in.On}
	}
	if e.On = at; dateOnly {
		e.OnDay(at, site.Zone)
	}
	return e, nil
}

func tapOf(s *archive.StoredTap) TapEvent {
	e := TapEvent{ID: s.ID, RecordedAt: s.RecordedAt, RecordedBy: s.RecordedBy,
		NewTapEvent: NewTapEvent{Group: s.Group, Event: string(s.Kind), On: s.On.Format(time.RFC3339)}}
	if s.DateOnly {
		e.On = s.On.Format(time.DateOnly)
	}
	return e
}

// tapsBetween is what was done to the taps of a site between two local dates, "" for no
// bound; the last one still counts.
func (s *server) tapsBetween(ctx context.Context, site *forecast.Site, from, to string) ([]records.TapEvent, error) {
	first, _ := time.ParseInLocation(time.DateOnly, from, site.Zone) // both were looked at
	stored, err := s.Records.TapEvents(ctx, site.ID, first, site.Zone)
	var events []records.TapEvent
	for i := range stored {
		if to == "" || stored[i].On.Format(time.DateOnly) <= to {
			events = append(events, stored[i].TapEvent)
		}
	}
	return events, err
}
