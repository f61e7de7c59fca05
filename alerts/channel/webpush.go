package channel

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"time"

	webpush "github.com/SherClockHolmes/webpush-go"

	"thawline/alerts"
)

// Subscribers know which browsers a person reads with.
type Subscribers interface {
	Subscriptions(ctx context.Context, person string) ([]string, error)
	DropSubscription(ctx context.Context, endpoint string) error
	PushKeys(ctx context.Context) (private, public string, err error)
}

// WebPushKind is the name of this kind in settings.
const WebPushKind = "web_push"

// WebPushOptions are none: the ledger has the keys and knows the browsers.
type WebPushOptions struct{}

var webPushKind = Kind{Name: WebPushKind, Options: func() Options { return &WebPushOptions{} }}

// Settings are none.
func (*WebPushOptions) Settings() []Setting { return nil }

// Check is that of Options.
func (*WebPushOptions) Check() []Fault { return nil }

// Open is that of Options.
func (*WebPushOptions) Open(w With) Channel {
	return &WebPush{Client: w.pushes(), Subscribers: w.Subscribers, Contact: w.Contact}
}

// To is the person's id.
func (*WebPushOptions) To(r Reach) string { return r.ID }

// WebPush sends to the browsers that a person has subscribed (RFC 8030,
// encrypted by RFC 8291, signed by RFC 8292). To is the person.
type WebPush struct {
	Client      *http.Client
	Subscribers Subscribers
	Contact     string // an address at which a push service can complain
}

// Send pushes to every browser of the person; one that took it is enough.
// Browsers that are gone are forgotten.
func (p *WebPush) Send(ctx context.Context, m Message) (string, error) {
	documents, err := p.Subscribers.Subscriptions(ctx, m.To)
	if err != nil {
		return "", err
	}
	if len(documents) == 0 {
		return "", &Refusal{Said: "no browser has subscribed", Permanent: true}
	}
	private, public, err := p.Subscribers.PushKeys(ctx)
	if err != nil {
		return "", err
	}
	body, err := json.Marshal(map[string]any{"title": m.Name, "body": m.Text, "tag": m.Key, "link": m.AckLink})
	if err != nil {
		return "", fmt.Errorf("push: %w", err)
	}
	taken, gone := 0, 0
	var last error
	for _, document := range documents {
		switch err := p.push(ctx, document, body, m, private, public); {
		case err == nil:
			taken++
		case errors.Is(err, errGone):
			gone++
		default:
			last = err
		}
	}
	said := fmt.Sprintf("%d of %d browsers, %d gone", taken, len(documents), gone)
	switch {
	case taken > 0:
		return said, nil
	case last != nil:
		return "", last
	}
	return "", &Refusal{Said: "every subscription has expired", Permanent: true}
}

var errGone = errors.New("the subscription has expired")

func (p *WebPush) push(ctx context.Context, document string, body []byte, m Message, private, public string) error {
	var s webpush.Subscription
	if err := json.Unmarshal([]byte(document), &s); err != nil {
		return errGone
	}
	profile, _ := alerts.ProfileOf(m.Kind) // of what comes first
	answer, err := webpush.SendNotificationWithContext(ctx, body, &s,
		&webpush.Options{HTTPClient: p.Client, Subscriber: p.Contact, Urgency: webpush.Urgency(profile.Urgency),
			TTL: int(max(m.Until.Sub(m.MadeAt), time.Minute).Seconds()), VAPIDPublicKey: public, VAPIDPrivateKey: private})
	if err != nil {
		return hiding(fmt.Errorf("push: %w", withoutURL(err)), s.Endpoint, pathOf(s.Endpoint))
	}
	defer func() { _ = answer.Body.Close() }()
	switch text, _ := io.ReadAll(io.LimitReader(answer.Body, 1024)); {
	case answer.StatusCode == http.StatusNotFound || answer.StatusCode == http.StatusGone:
		if err := p.Subscribers.DropSubscription(ctx, s.Endpoint); err != nil {
			return err
		}
		return errGone
	case answer.StatusCode >= 300:
		return refusedBy(answer.StatusCode, answer.Header, hide(hide(string(text), s.Endpoint), pathOf(s.Endpoint)))
	}
	return nil
}

// pathOf is what of an endpoint only its browser and the push service know.
func pathOf(endpoint string) string {
	u, err := url.Parse(endpoint)
	if err != nil || len(u.Path) < 2 {
		return ""
	}
	return u.Path
}
