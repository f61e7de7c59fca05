package channel

import (
	"context"
	"fmt"
	"strings"

	"github.com/go-resty/resty/v2"

	"thawline/forecast/secret"
)

// NtfyKind is the name of this kind in settings.
const NtfyKind = "ntfy"

// NtfyOptions say which topic of which server.
type NtfyOptions struct {
	URL   string // of the server
	Topic string
	Token secret.Text // empty for none
}

var ntfyKind = Kind{Name: NtfyKind, Options: func() Options { return &NtfyOptions{} }}

// Settings are those of Options.
func (o *NtfyOptions) Settings() []Setting {
	return []Setting{
		{Key: "url", Example: "https://ntfy.example.org", Into: &o.URL},
		{Key: "topic", Example: "a-long-word-that-nobody-guesses", Into: &o.Topic},
		{Key: "secret", Into: &o.Token},
	}
}

// Check is that of Options.
func (o *NtfyOptions) Check() []Fault {
	return missing(NtfyKind, "url", o.URL, "write the address of the ntfy server", "topic", o.Topic,
		"write the topic; whoever knows it can read along")
}

// Open is that of Options.
func (o *NtfyOptions) Open(w With) Channel { return &Ntfy{*o, w.client()} }

// To is the topic, for everybody.
func (o *NtfyOptions) To(Reach) string { return o.Topic }

// Ntfy publishes to a topic of an ntfy server.
type Ntfy struct {
	NtfyOptions
	Client *resty.Client
}

// Send publishes the message; To is the topic.
func (n *Ntfy) Send(ctx context.Context, m Message) (string, error) {
	body := map[string]any{"topic": m.To, "message": m.Text, "title": m.Name, "tags": []string{"maple_leaf"}}
	if m.Urgent {
		body["priority"] = 4
	}
	if m.AckLink != "" {
		body["click"] = m.AckLink
	}
	r := n.Client.R().SetContext(ctx).SetBody(body)
	if n.Token.Given() {
		r.SetAuthToken(n.Token.Reveal())
	}
	answer, err := r.Post(strings.TrimRight(n.URL, "/"))
	if err != nil {
		return "", hiding(fmt.Errorf("ntfy: %w", withoutURL(err)), n.Token.Reveal(), m.To)
	}
	if answer.IsError() {
		return "", refusedBy(answer.StatusCode(), answer.Header(),
			hide(hide(answer.String(), n.Token.Reveal()), m.To)) // who knows the topic reads along
	}
	return answer.Status(), nil
}
