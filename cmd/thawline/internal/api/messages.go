package api

import (
	"context"
	"errors"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"thawline/alerts/ledger"
	"thawline/cmd/thawline/internal/auth"
)

// Message is one that was decided for one person. Numbers and addresses are never
// in it.
type Message struct {
	ID        string     `json:"id"`
	Site      string     `json:"site"`
	Kind      string     `json:"kind"`
	Person    string     `json:"person"`
	Text      string     `json:"text"`
	Urgent    bool       `json:"urgent"`
	State     string     `json:"state" enum:"waiting,sent,expired,failed,held"`
	DecidedAt time.Time  `json:"decided_at"`
	UsefulTo  time.Time  `json:"useful_to"`
	SentAt    *time.Time `json:"sent_at" nullable:"true"`
	SeenAt    *time.Time `json:"acknowledged_at" nullable:"true"`
}

const mostMessages = 200

func (s *server) messages() {
	type list struct{ Body []Message }
	add(s, auth.ReadMessages, huma.Operation{OperationID: "list-messages", Method: http.MethodGet, Path: "/sites/{site}/messages",
		Summary: "Messages", Description: "The newest messages about a site. People see their own; keepers, and tokens, everybody's."},
		func(ctx context.Context, in *SitePath) (*list, error) {
			if _, err := s.site(ctx, in.Site); err != nil {
				return nil, err
			}
			recent, err := s.Messages.RecentOf(ctx, []string{in.Site}, mostMessages)
			if err != nil {
				return nil, s.failed("read messages", err)
			}
			v := auth.From(ctx)
			out := &list{Body: []Message{}}
			for i := range recent {
				if sees(&v, &recent[i]) {
					out.Body = append(out.Body, MessageOf(&recent[i]))
				}
			}
			return out, nil
		})

	type ask struct {
		Delivery string `path:"delivery" doc:"id of the message" maxLength:"64"`
	}
	add(s, auth.Acknowledge, huma.Operation{OperationID: "acknowledge-message", Method: http.MethodPost,
		Path: "/messages/{delivery}/acknowledgement", Summary: "Say that a message was seen",
		Description: "Notes that a message has been seen. Doing it again changes nothing."},
		func(ctx context.Context, in *ask) (*struct{}, error) {
			_, _, deliveries, err := s.Messages.Decision(ctx, in.Delivery)
			if err != nil && !errors.Is(err, ledger.ErrNone) {
				return nil, s.failed("read messages", err)
			}
			v := auth.From(ctx)
			for i := range deliveries {
				d := &deliveries[i]
				if d.ID != in.Delivery || !v.Sees(d.Site) || !sees(&v, d) {
					continue
				}
				if err := s.Messages.Acknowledge(ctx, d.ID, s.Now()); err != nil {
					return nil, s.failed("acknowledge", err)
				}
				return nil, nil
			}
			return nil, huma.Error404NotFound("there is no such message")
		})
}

func sees(v *auth.Identity, d *ledger.Delivery) bool {
	return v.Scopes != nil || v.Role == auth.Keeper || v.Person != "" && v.Person == d.Person
}

// MessageOf is a delivery as programs are shown it.
func MessageOf(d *ledger.Delivery) Message {
	m := Message{ID: d.ID, Site: d.Site, Kind: string(d.Kind), Person: d.Person, Text: d.Words, Urgent: d.Urgent,
		State: string(d.State), DecidedAt: d.MadeAt, UsefulTo: d.Until}
	if !d.SentAt.IsZero() {
		m.SentAt = &d.SentAt
	}
	if !d.AckedAt.IsZero() {
		m.SeenAt = &d.AckedAt
	}
	return m
}
