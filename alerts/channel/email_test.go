package channel

import (
	"mime"
	"net/mail"
	"strings"
	"testing"
)

// A mail is in its reader's language to the last word, and says which one that is.
func TestEmailInItsLanguage(t *testing.T) {
	e := &Email{EmailOptions: EmailOptions{From: "sugarhouse@example.org"}}
	msg, err := e.compose(Message{Key: "1", To: "robin@example.org", Text: "Coulée demain.", AckLink: "https://bush.example.org/a/1",
		Language: "fr", AckWords: "J'ai vu ce message"})
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if _, err := msg.WriteTo(&b); err != nil {
		t.Fatal(err)
	}
	whole := strings.ReplaceAll(strings.ReplaceAll(b.String(), "=\r\n", ""), "=3D", "=")
	if !strings.Contains(whole, `<html lang="fr">`) ||
		!strings.Contains(whole, `<a href="https://bush.example.org/a/1">J&#39;ai vu ce message</a>`) ||
		!strings.Contains(whole, "J'ai vu ce message\r\nhttps://bush.example.org/a/1") || strings.Contains(whole, "Seen") {
		t.Errorf("%s", whole)
	}
}

// Each thing that a mail says is a paragraph of its own, and the first is the subject.
func TestEmailInParagraphs(t *testing.T) {
	e := &Email{EmailOptions: EmailOptions{From: "sugarhouse@example.org"}}
	msg, err := e.compose(Message{Key: "1", To: "robin@example.org", Text: "Hill: Pails run over.\nSap runs. Low 24 F.", Language: "en"})
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if _, err := msg.WriteTo(&b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Subject: Hill: Pails run over.\r\n", "Hill: Pails run over.\r\n\r\nSap runs. Low 24 F.",
		"<p>Hill: Pails run over.</p><p>Sap runs. Low 24 F.</p>"} {
		if whole := strings.ReplaceAll(b.String(), "=\r\n", ""); !strings.Contains(whole, want) {
			t.Errorf("no %q in\n%s", want, whole)
		}
	}
}

// Mail programs and servers see who it comes from, that no person wrote it, and how it is
// ended; letters of every language stay as they are.
func TestEmailHeaders(t *testing.T) {
	read := func(e *Email, m Message) *mail.Message {
		t.Helper()
		msg, err := e.compose(m)
		if err != nil {
			t.Fatal(err)
		}
		var b strings.Builder
		if _, err := msg.WriteTo(&b); err != nil {
			t.Fatal(err)
		}
		got, err := mail.ReadMessage(strings.NewReader(b.String()))
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	m := Message{Key: "0195abc", To: "robin@example.org", Text: "São João: Coulée demain.", Language: "fr",
		StopLink: "https://bush.example.org/u/k3y"}
	got := read(&Email{EmailOptions: EmailOptions{From: "Érablière <sucre@erable.example.org>"}}, m)
	for header, want := range map[string]string{
		"Message-Id": "<0195abc@erable.example.org>", "Auto-Submitted": "auto-generated",
		"List-Unsubscribe": "<https://bush.example.org/u/k3y>", "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",
	} {
		if got.Header.Get(header) != want {
			t.Errorf("%s: %q, want %q", header, got.Header.Get(header), want)
		}
	}
	if subject, err := new(mime.WordDecoder).DecodeHeader(got.Header.Get("Subject")); err != nil || subject != "São João: Coulée demain." {
		t.Errorf("%v %q", err, subject)
	}
	if got := read(&Email{EmailOptions: EmailOptions{From: "sucre@érable.example.org"}},
		m).Header.Get("Message-Id"); got != "<0195abc@thawline.invalid>" {
		t.Errorf("of a domain in other letters: %q", got)
	}
	m.StopLink = ""
	got = read(&Email{EmailOptions: EmailOptions{From: "sucre@example.org"}}, m)
	if got.Header.Get("List-Unsubscribe") != "<mailto:sucre@example.org?subject=STOP>" || got.Header.Get("List-Unsubscribe-Post") != "" {
		t.Errorf("without pages: %v", got.Header)
	}
}
