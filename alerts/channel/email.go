package channel

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"html"
	netmail "net/mail"
	"strings"
	"time"

	"github.com/wneessen/go-mail"

	"thawline/forecast/secret"
)

// EmailKind is the name of this kind in settings.
const EmailKind = "email"

// EmailOptions say which server takes mail.
type EmailOptions struct {
	Host     string
	Port     int    // 587 if 0
	User     string // "" for none
	Password secret.Text
	From     string
	Hello    string // the name that the server is greeted by (EHLO); "" for this machine's
	// Plain leaves TLS out: only for a server on this machine.
	Plain bool
}

var emailKind = Kind{Name: EmailKind, Options: func() Options { return &EmailOptions{} }}

// Settings are those of Options.
func (o *EmailOptions) Settings() []Setting {
	return []Setting{
		{Key: "host", Example: "mail.example.org", Into: &o.Host},
		{Key: "from", Example: "sugarhouse@example.org", Into: &o.From},
		{Key: "hello", Example: "sugarhouse.example.org", Into: &o.Hello},
		{Key: "user", Example: "sugarhouse", Into: &o.User},
		{Key: "port", Example: "587", Into: &o.Port, Usual: o.UsualPort()},
		{Key: "security", Example: "tls", Into: &o.Plain},
		{Key: "secret", Into: &o.Password},
	}
}

// UsualPort is that of submission (RFC 6409).
func (o *EmailOptions) UsualPort() int { return 587 }

// Check is that of Options.
func (o *EmailOptions) Check() []Fault {
	if o.Port == 0 {
		o.Port = o.UsualPort()
	}
	return missing(EmailKind, "host", o.Host, "name the mail server", "from", o.From, "write the address that mail comes from")
}

// Open is that of Options.
func (o *EmailOptions) Open(w With) Channel { return &Email{EmailOptions: *o, Timeout: w.Timeout} }

// To is the person's address.
func (o *EmailOptions) To(r Reach) string { return r.Email.Reveal() }

// Email sends by SMTP.
type Email struct {
	EmailOptions
	// Insecure takes any certificate: only for tests.
	Insecure bool
	Timeout  time.Duration
}

// compose writes the message. The key is its Message-ID: mail programs show
// doubles once.
func (e *Email) compose(m Message) (*mail.Msg, error) {
	msg := mail.NewMsg()
	if err := errors.Join(msg.From(e.From), msg.To(m.To)); err != nil {
		return nil, &Refusal{Said: "an address that no mail goes to", Permanent: true}
	}
	lines := strings.Split(m.Text, "\n")
	first, _, _ := strings.Cut(lines[0], ". ")
	msg.Subject(strings.Join(strings.Fields(first), " "))
	msg.SetMessageIDWithValue(m.Key + "@" + domainOf(e.From))
	msg.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834: nobody's holiday answers it
	if m.StopLink != "" {
		msg.SetGenHeader(mail.HeaderListUnsubscribe, "<"+m.StopLink+">")
		msg.SetGenHeader(mail.HeaderListUnsubscribePost, "List-Unsubscribe=One-Click") // RFC 8058
	} else if from := msg.GetFrom(); len(from) > 0 {
		msg.SetGenHeader(mail.HeaderListUnsubscribe, "<mailto:"+from[0].Address+"?subject=STOP>")
	}
	msg.SetDateWithValue(m.MadeAt)
	text := strings.Join(lines, "\n\n")
	page := `<html lang="` + html.EscapeString(m.Language) + `"><body style="font:16px sans-serif">`
	for _, line := range lines {
		page += "<p>" + html.EscapeString(line) + "</p>"
	}
	if m.AckLink != "" {
		text += "\n\n" + m.AckWords + "\n" + m.AckLink
		page += `<p><a href="` + html.EscapeString(m.AckLink) + `">` + html.EscapeString(m.AckWords) + `</a></p>`
	}
	if m.Picture != nil {
		if png := m.Picture(); len(png) > 0 {
			const name = "outlook.png"
			if err := msg.EmbedReader(name, bytes.NewReader(png), mail.WithFileContentType("image/png"),
				mail.WithFileContentID("<"+name+">")); err != nil {
				return nil, fmt.Errorf("e-mail: %w", err)
			}
			page += `<p><img src="cid:` + name + `" alt="` + html.EscapeString(m.Text) + `" style="max-width:100%"></p>`
		}
	}
	msg.SetBodyString(mail.TypeTextPlain, text)
	msg.AddAlternativeString(mail.TypeTextHTML, page+"</body></html>")
	return msg, nil
}

// domainOf is the domain of an address that mail comes from; one that is not in ASCII can't
// be in a Message-ID.
func domainOf(from string) string {
	if address, err := netmail.ParseAddress(from); err == nil {
		from = address.Address
	}
	if _, domain, found := strings.Cut(from, "@"); found &&
		!strings.ContainsFunc(domain, func(r rune) bool { return r <= ' ' || r > '~' }) {
		return domain
	}
	return "thawline.invalid"
}

// Send hands the message to the server.
func (e *Email) Send(ctx context.Context, m Message) (string, error) {
	msg, err := e.compose(m)
	if err != nil {
		return "", err
	}
	options := []mail.Option{mail.WithPort(e.Port), mail.WithTimeout(e.Timeout)}
	switch {
	case e.Plain:
		options = append(options, mail.WithTLSPolicy(mail.NoTLS))
	case e.Port == 465:
		options = append(options, mail.WithSSL())
	default:
		options = append(options, mail.WithTLSPolicy(mail.TLSMandatory))
	}
	if e.Hello != "" {
		options = append(options, mail.WithHELO(e.Hello))
	}
	if e.Insecure {
		options = append(options, mail.WithTLSConfig(anyCertificate(e.Host)))
	}
	if e.User != "" {
		options = append(options, mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover), mail.WithUsername(e.User),
			mail.WithPassword(e.Password.Reveal()))
	}
	client, err := mail.NewClient(e.Host, options...)
	if err != nil {
		return "", fmt.Errorf("e-mail: %w", err)
	}
	if err := client.DialAndSendWithContext(ctx, msg); err != nil {
		said := hide(hide(err.Error(), e.Password.Reveal()), m.To)
		var sent *mail.SendError
		permanent := errors.As(err, &sent) && !sent.IsTemp() && sent.Reason != mail.ErrConnCheck
		// Codes of 5xx before a message is sent, as for a refused login.
		permanent = permanent || strings.Contains(said, " 535 ") || strings.HasPrefix(said, "535 ")
		return "", &Refusal{Said: shortened(said), Permanent: permanent}
	}
	return "accepted by " + e.Host, nil
}

// anyCertificate is for tests against a server with a certificate of its own
// making.
func anyCertificate(host string) *tls.Config {
	return &tls.Config{ServerName: host, MinVersion: tls.VersionTLS12, InsecureSkipVerify: true} //nolint:gosec // G402: of tests alone
}
