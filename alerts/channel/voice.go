package channel

import (
	"context"
	"fmt"
	"regexp"
	"time"

	"github.com/go-resty/resty/v2"
)

// VoiceKind is the name of this kind in settings.
const VoiceKind = "voice_gateway"

// CallTimeout is how long a call is waited for: ringing, listening, and a key.
const CallTimeout = 90 * time.Second

// How long somebody is left alone who was on the phone, or did not pick up.
const (
	afterBusy     = 3 * time.Minute
	afterNoAnswer = 5 * time.Minute
)

// VoiceOptions describe the request that a service takes which calls people and reads a
// text to them. It answers once the call is over. {text} is the spoken form, with which
// key to press, and {language} its tag.
type VoiceOptions struct {
	GatewayOptions
	Pressed *regexp.Regexp // what an answer holds where somebody pressed 1
	Heard   *regexp.Regexp // where somebody listened to the end and pressed nothing; nil for any success
	Busy    *regexp.Regexp // where the line was busy; nil for none
}

var voiceKind = Kind{Name: VoiceKind, Options: func() Options { return &VoiceOptions{} }}

// Settings are those of Options.
func (o *VoiceOptions) Settings() []Setting {
	return []Setting{
		{Key: "url", Example: "https://calls.example.org/call", Into: &o.URL},
		{Key: "method", Into: &o.Method},
		{Key: "form", Into: &o.Form},
		{Key: "json", Example: `'{"to": "{to}", "say": "{text}", "language": "{language}", "reference": "{key}"}'`, Into: &o.JSON},
		{Key: "pressed", Example: "digit=1", Into: &o.Pressed,
			Remedy: `write what an answer holds where somebody pressed 1, such as "digit": *"1"`},
		{Key: "heard", Example: "completed", Into: &o.Heard,
			Remedy: "write what an answer holds where somebody listened, such as completed"},
		{Key: "busy", Example: "busy", Into: &o.Busy, Remedy: "write what an answer holds where the line was busy, such as busy"},
		{Key: "header", Into: &o.Header},
		{Key: "secret", Example: "/etc/thawline/calls-key", Into: &o.Secret},
	}
}

// Check is that of Options.
func (o *VoiceOptions) Check() []Fault {
	faults := o.check(VoiceKind)
	if o.Pressed == nil {
		faults = append(faults, Fault{"pressed", "missing for a channel of kind " + VoiceKind,
			`write what an answer holds where somebody pressed 1, such as "digit": *"1"`})
	}
	return faults
}

// Open is that of Options.
func (o *VoiceOptions) Open(w With) Channel {
	client := w.client().SetTimeout(CallTimeout)
	return &Voice{*o, client}
}

// Voice calls people on the telephone.
type Voice struct {
	VoiceOptions
	Client *resty.Client
}

// Patience is how long a message may take.
func (v *Voice) Patience() time.Duration { return CallTimeout }

// Send has somebody called. Whoever presses 1 has acknowledged the message; who is busy or
// does not pick up is called again later.
func (v *Voice) Send(ctx context.Context, m Message) (string, error) {
	m.Texted = m.ForVoice()
	gateway := Gateway{v.GatewayOptions, v.Client}
	said, _, err := gateway.ask(ctx, m)
	if err != nil {
		return "", fmt.Errorf("call: %w", err)
	}
	switch {
	case v.Pressed.MatchString(said):
		if m.Acknowledge != nil {
			if err := m.Acknowledge(ctx); err != nil {
				return "", err
			}
		}
		return "heard, and pressed 1", nil
	case v.Busy != nil && v.Busy.MatchString(said):
		return "", &Refusal{Said: "the line is busy", Wait: afterBusy}
	case v.Heard != nil && !v.Heard.MatchString(said):
		return "", &Refusal{Said: "nobody picked up", Wait: afterNoAnswer}
	}
	return "heard", nil
}
