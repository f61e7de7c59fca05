package channel

import (
	"context"
	"encoding/json"
	"fmt"
	"strconv"
	"time"

	"github.com/go-resty/resty/v2"
	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
)

// Webhook posts a JSON document, signed to the Standard Webhooks specification
// (HMAC-SHA256; the key of the message is its webhook-id).
type Webhook struct {
	Client *resty.Client
	URL    string
	Secret string // whsec_…
	Now    func() time.Time
}

// Send posts the message.
func (w *Webhook) Send(ctx context.Context, m Message) (string, error) {
	body, err := json.Marshal(map[string]any{"type": "thawline." + string(m.Kind), "timestamp": m.MadeAt.UTC(),
		"data": map[string]any{"person": m.Person, "site": m.Site, "site_name": m.Name, "text": m.Text, "urgent": m.Urgent, "useful_to": m.Until.UTC(), "acknowledge": m.AckLink}})
	if err != nil {
		return "", fmt.Errorf("webhook: %w", err)
	}
	signer, err := standardwebhooks.NewWebhook(w.Secret)
	if err != nil {
		return "", &Refusal{Said: "the secret of the webhook is not one: whsec_ and base64", Permanent: true}
	}
	at := w.Now()
	signature, err := signer.Sign(m.Key, at, body)
	if err != nil {
		return "", fmt.Errorf("webhook: %w", err)
	}
	answer, err := w.Client.R().SetContext(ctx).SetHeader("Content-Type", "application/json").SetHeader("webhook-id", m.Key).
		SetHeader("webhook-timestamp", strconv.FormatInt(at.Unix(), 10)).SetHeader("webhook-signature", signature).SetBody(body).Post(w.URL)
	if err != nil {
		return "", fmt.Errorf("webhook: %w", withoutURL(err))
	}
	if answer.IsError() {
		return "", refusedBy(answer.StatusCode(), answer.Header(), answer.String())
	}
	return answer.Status(), nil
}
