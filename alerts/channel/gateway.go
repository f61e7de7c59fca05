package channel

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"

	"github.com/go-resty/resty/v2"

	"thawline/forecast/secret"
)

// GatewayKind is the name of this kind in settings.
const GatewayKind = "text_gateway"

// GatewayOptions describe the request that a service of text messages takes. In URL,
// Form, JSON and Header {to}, {text} and {key} stand for number, words and idempotency
// key, {secret} for what must not stand in the settings.
type GatewayOptions struct {
	URL      string
	Method   string         // POST if empty
	Form     string         // such as "to={to}&body={text}"; or
	JSON     string         // such as {"to": "{to}", "body": "{text}"}
	Header   string         // such as Authorization: Bearer {secret}; "" for none
	Accepted *regexp.Regexp // what an answer must hold to count, nil for any success
	Secret   secret.Text
}

var gatewayKind = Kind{Name: GatewayKind, Options: func() Options { return &GatewayOptions{} }, Senders: 24}

// Settings are those of Options.
func (o *GatewayOptions) Settings() []Setting {
	return []Setting{
		{Key: "url", Example: "https://gateway.example.org/messages", Into: &o.URL},
		{Key: "method", Example: "POST", Into: &o.Method},
		{Key: "form", Example: "to={to}&body={text}&reference={key}", Into: &o.Form},
		{Key: "json", Example: `'{"to": "{to}", "body": "{text}"}'`, Into: &o.JSON},
		{Key: "accepted", Example: "queued", Into: &o.Accepted, Remedy: `write what an accepted answer holds, such as "status": *"queued"`},
		{Key: "header", Example: `"Authorization: Bearer {secret}"`, Into: &o.Header},
		{Key: "secret", Example: "/etc/thawline/gateway-key", Into: &o.Secret},
	}
}

// Check is that of Options.
func (o *GatewayOptions) Check() []Fault { return o.check(GatewayKind) }

func (o *GatewayOptions) check(kind string) []Fault {
	faults := missing(kind, "url", o.URL, "write where the gateway takes messages; {to}, {text}, {key} and {secret} are filled in")
	if o.Method = strings.ToUpper(o.Method); o.Method == "" {
		o.Method = http.MethodPost
	}
	if !slices.Contains([]string{http.MethodGet, http.MethodPost, http.MethodPut}, o.Method) {
		faults = append(faults, Fault{"method", o.Method + ": not a way to send", "write POST, PUT or GET"})
	}
	if all := o.URL + o.Form + o.JSON; !strings.Contains(all, "{to}") || !strings.Contains(all, "{text}") {
		faults = append(faults, Fault{"form", "neither url, form nor json say where {to} and {text} go",
			`write form: to={to}&body={text}, or json: '{"to":"{to}","body":"{text}"}'`})
	}
	if o.Form != "" && o.JSON != "" {
		faults = append(faults, Fault{"json", "both form and json", "keep one of them"})
	}
	if o.Header != "" && !strings.Contains(o.Header, ":") {
		faults = append(faults, Fault{"header", o.Header + ": not a header", "write it like Authorization: Bearer {secret}"})
	}
	return faults
}

// Open is that of Options.
func (o *GatewayOptions) Open(w With) Channel { return &Gateway{*o, w.client()} }

// To is the person's number.
func (o *GatewayOptions) To(r Reach) string { return r.Phone.Reveal() }

// Gateway sends text messages by any service that takes an HTTP request, which
// the operator describes.
type Gateway struct {
	GatewayOptions
	Client *resty.Client
}

// Send makes the described request.
func (g *Gateway) Send(ctx context.Context, m Message) (string, error) {
	body, status, err := g.ask(ctx, m)
	if err == nil && g.Accepted != nil && !g.Accepted.MatchString(body) {
		// An error in the body of a success: nobody can tell whether it will pass.
		return "", &Refusal{Said: fmt.Sprintf("answered %d but not as accepted: %s", status, shortened(body))}
	}
	return shortened(body), err
}

// ask makes the described request and returns the whole answer, without secrets.
func (g *Gateway) ask(ctx context.Context, m Message) (body string, status int, err error) {
	fill := func(template string, escape func(string) string) string {
		return strings.NewReplacer("{to}", escape(m.To), "{text}", escape(m.ForPhone()), "{key}", escape(m.Key), "{language}",
			escape(m.Language), "{secret}", escape(g.Secret.Reveal())).Replace(template)
	}
	plain := func(s string) string { return strings.NewReplacer("\r", "", "\n", " ").Replace(s) }
	r := g.Client.R().SetContext(ctx)
	if name, value, given := strings.Cut(g.Header, ":"); given {
		r.SetHeader(strings.TrimSpace(name), fill(strings.TrimSpace(value), plain))
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
		return "", 0, hiding(fmt.Errorf("text gateway: %w", withoutURL(err)), g.Secret.Reveal(), m.To)
	}
	body = hide(hide(answer.String(), g.Secret.Reveal()), m.To)
	if answer.IsError() {
		return "", answer.StatusCode(), refusedBy(answer.StatusCode(), answer.Header(), body)
	}
	return body, answer.StatusCode(), nil
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
