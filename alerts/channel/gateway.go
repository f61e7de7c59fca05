package channel

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"regexp"
	"strings"

	"github.com/go-resty/resty/v2"
)

// Gateway sends text messages by any service that takes an HTTP request, which
// the operator describes. In URL, Form, JSON and Headers {to}, {text} and {key}
// stand for number, words and idempotency key, {secret} for what must not stand
// in the settings.
type Gateway struct {
	Client   *resty.Client
	Method   string // POST if empty
	URL      string
	Form     string            // such as "to={to}&body={text}"; or
	JSON     string            // such as {"to": "{to}", "body": "{text}"}
	Headers  map[string]string // such as Authorization: Bearer {secret}
	Secret   string
	Accepted *regexp.Regexp // what an answer must hold to count, nil for any success
}

// Send makes the described request.
func (g *Gateway) Send(ctx context.Context, m Message) (string, error) {
	fill := func(template string, escape func(string) string) string {
		return strings.NewReplacer("{to}", escape(m.To), "{text}", escape(m.Text), "{key}", escape(m.Key), "{secret}", escape(g.Secret)).Replace(template)
	}
	plain := func(s string) string { return strings.NewReplacer("\r", "", "\n", " ").Replace(s) }
	r := g.Client.R().SetContext(ctx)
	for k, v := range g.Headers {
		r.SetHeader(k, fill(v, plain))
	}
	switch {
	case g.JSON != "":
		r.SetHeader("Content-Type", "application/json").SetBody(fill(g.JSON, inJSON))
	case g.Form != "":
		r.SetHeader("Content-Type", "application/x-www-form-urlencoded").SetBody(fill(g.Form, url.QueryEscape))
	}
	method := g.Method
	if method == "" {
		method = "POST"
	}
	answer, err := r.Execute(method, fill(g.URL, url.QueryEscape))
	if err != nil {
		return "", fmt.Errorf("text gateway: %w", withoutURL(err))
	}
	body := hide(hide(answer.String(), g.Secret), m.To)
	switch {
	case answer.IsError():
		return "", refusedBy(answer.StatusCode(), answer.Header(), body)
	case g.Accepted != nil && !g.Accepted.MatchString(body):
		// An error in the body of a success: nobody can tell whether it will pass.
		return "", &Refusal{Said: fmt.Sprintf("answered %d but not as accepted: %s", answer.StatusCode(), shortened(body))}
	}
	return shortened(body), nil
}

// inJSON escapes a text for the inside of a JSON string.
func inJSON(s string) string {
	quoted, err := json.Marshal(s)
	if err != nil {
		return ""
	}
	return string(quoted[1 : len(quoted)-1])
}

func hide(s, secret string) string {
	if secret == "" {
		return s
	}
	return strings.ReplaceAll(s, secret, "…")
}

// withoutURL drops the address from an error: it may hold a number or a secret.
func withoutURL(err error) error {
	var u *url.Error
	if errors.As(err, &u) {
		return u.Err
	}
	return err
}
