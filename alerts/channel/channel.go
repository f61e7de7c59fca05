// Package channel carries messages to people: one way a file.
package channel

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"time"

	"thawline/alerts"
)

// Message is one text for one person.
type Message struct {
	Key     string // the same at every attempt: channels that know it drop doubles
	To      string // a number, an address or a topic, as the channel needs it
	Person  string // its id
	Site    string // its id
	Name    string // of the site
	Text    string // a line for each thing that it says
	Texted  string // Text in the letters and the room of a text message, "" where that is the same
	Spoken  string // Text as a voice says it, "" where that is not known
	Kind    alerts.Kind
	Kinds   []alerts.Kind // of all that it says, Kind first
	Urgent  bool
	MadeAt  time.Time
	Until   time.Time
	AckLink string // "" where there is none
	// StopLink is where the person ends all messages, with one POST; "" where there is none.
	StopLink string
	// Language is the tag of the words, AckWords what the link is called in them.
	Language, AckWords string
	// Acknowledge notes that the person has heard the message, for channels that are told
	// so at once; nil where nobody notes it.
	Acknowledge func(context.Context) error
	// Picture draws the outlook as PNG for channels that show pictures; nil where
	// there is none.
	Picture func() []byte
}

// Says reports whether something of a kind is in the message.
func (m *Message) Says(k alerts.Kind) bool { return slices.Contains(m.Kinds, k) }

// ForPhone is the text as a text message has it.
func (m *Message) ForPhone() string { return cmp.Or(m.Texted, m.Text) }

// ForVoice is the text as a voice says it.
func (m *Message) ForVoice() string { return cmp.Or(m.Spoken, m.Text) }

// Patient is a channel whose messages take longer than others'.
type Patient interface {
	Patience() time.Duration
}

// Channel is a way to reach people.
type Channel interface {
	// Send hands a message over. said is what the other side answered, for the
	// ledger; an error is a *Refusal where more is known than that it failed.
	Send(ctx context.Context, m Message) (said string, err error)
}

// Refusal is what a channel says no with.
type Refusal struct {
	Said      string
	Permanent bool          // trying again there is of no use
	Wait      time.Duration // how long the other side asks to be left alone, 0 if it does not say
}

func (r *Refusal) Error() string { return r.Said }

// refusedBy sorts an HTTP answer that is no success: what is wrong with the
// request is so for good, all else may pass.
func refusedBy(status int, header http.Header, body string) error {
	r := &Refusal{Said: fmt.Sprintf("answered %d %s", status, shortened(body))}
	switch {
	case status == http.StatusTooManyRequests || status == http.StatusRequestTimeout || status >= 500:
		if s, err := strconv.Atoi(header.Get("Retry-After")); err == nil && s >= 0 {
			r.Wait = min(time.Duration(s)*time.Second, 6*time.Hour)
		} else if t, err := http.ParseTime(header.Get("Retry-After")); err == nil {
			if d, err := http.ParseTime(header.Get("Date")); err == nil {
				r.Wait = min(max(t.Sub(d), 0), 6*time.Hour)
			}
		}
	default:
		r.Permanent = true
	}
	return r
}

// hiding is an error that leaves texts out of what it says; what it wraps is found as before.
func hiding(err error, private ...string) error {
	if err == nil {
		return nil
	}
	return &hidden{err, private}
}

type hidden struct {
	error
	private []string
}

func (h *hidden) Error() string {
	said := h.error.Error()
	for _, one := range h.private {
		said = hide(said, one)
	}
	return said
}

func (h *hidden) Unwrap() error { return h.error }

func shortened(s string) string {
	const most = 160
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}

// Outcome of an error, for the ledger: "refused" for good, or "later".
func Outcome(err error) (outcome string, wait time.Duration) {
	var r *Refusal
	if errors.As(err, &r) {
		if r.Permanent {
			return "refused", 0
		}
		return "later", r.Wait
	}
	return "later", 0
}
