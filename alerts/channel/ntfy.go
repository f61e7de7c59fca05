package channel

import (
	"context"
	"fmt"
	"strings"

	"github.com/go-resty/resty/v2"
)

// Ntfy publishes to a topic of an ntfy server.
type Ntfy struct {
	Client *resty.Client
	URL    string // of the server
	Token  string // "" for none
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
	if n.Token != "" {
		r.SetAuthToken(n.Token)
	}
	answer, err := r.Post(strings.TrimRight(n.URL, "/"))
	if err != nil {
		return "", fmt.Errorf("ntfy: %w", withoutURL(err))
	}
	if answer.IsError() {
		return "", refusedBy(answer.StatusCode(), answer.Header(), hide(answer.String(), n.Token))
	}
	return answer.Status(), nil
}
