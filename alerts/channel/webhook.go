package channel

import (
	"context"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/go-resty/resty/v2"
	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"thawline/forecast/secret"
)

// WebhookKind is the name of this kind in settings.
const WebhookKind = "webhook"

// WebhookOptions say where messages are posted to.
type WebhookOptions struct {
	URL    string
	Secret secret.Text // whsec_…
}

var webhookKind = Kind{Name: WebhookKind, Options: func() Options { return &WebhookOptions{} }}

// Settings are those of Options.
func (o *WebhookOptions) Settings() []Setting {
	return []Setting{
		{Key: "url", Into: &o.URL},
		{Key: "secret", Into: &o.Secret},
	}
}

// Check is that of Options.
func (o *WebhookOptions) Check() []Fault {
	faults := missing(WebhookKind, "url", o.URL, "write where messages are posted to")
	if !strings.HasPrefix(o.Secret.Reveal(), "whsec_") {
		faults = append(faults, Fault{"secret", "the secret of a webhook begins with whsec_", "put one there that both sides know"})
	}
	return faults
}

// Open is that of Options.
func (o *WebhookOptions) Open(w With) Channel { return &Webhook{*o, w.client(), w.Now} }

// To is the person's id, which stands in the document.
func (o *WebhookOptions) To(r Reach) string { return r.ID }

// Webhook posts a JSON document, signed to the Standard Webhooks specification
// (HMAC-SHA256; the key of the message is its webhook-id).
type Webhook struct {
	WebhookOptions
	Client *resty.Client
	Now    func() time.Time
}

// Send posts the message.
func (w *Webhook) Send(ctx context.Context, m Message) (string, error) {
	body, err := json.Marshal(map[string]any{"type": "thawline." + string(m.Kind), "timestamp": m.MadeAt.UTC(),
		"data": map[string]any{"person": m.Person, "site": m.Site, "site_name": m.Name, "text": m.Text, "kinds": m.Kinds,
			"urgent": m.Urgent, "useful_to": m.Until.UTC(), "acknowledge": m.AckLink}})
	if err != nil {
		return "", fmt.Errorf("webhook: %w", err)
	}
	signer, err := standardwebhooks.NewWebhook(w.Secret.Reveal())
	if err != nil {
		return "", &Refusal{Said: "the secret of the webhook is not one: whsec_ and base64", Permanent: true}
	}
	at := w.Now()
	signature, err := signer.Sign(m.Key, at, body)
	if err != nil {
		return "", fmt.Errorf("webhook: %w", err)
	}
	key := w.Secret.Reveal()
	answer, err := w.Client.R().SetContext(ctx).SetHeader("Content-Type", "application/json").SetHeader("webhook-id", m.Key).
		SetHeader("webhook-timestamp", strconv.FormatInt(at.Unix(), 10)).SetHeader("webhook-signature", signature).SetBody(body).Post(w.URL)
	if err != nil {
		return "", hiding(fmt.Errorf("webhook: %w", withoutURL(err)), key)
	}
	if answer.IsError() {
		return "", refusedBy(answer.StatusCode(), answer.Header(), hide(answer.String(), key))
	}
	return answer.Status(), nil
}
