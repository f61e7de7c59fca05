package channel

import (
	"strings"
	"testing"
)

// A mail is in its reader's language to the last word, and says which one that is.
func TestEmailInItsLanguage(t *testing.T) {
	e := &Email{EmailOptions: EmailOptions{From: "sugarhouse@example.org"}}
	msg, err := e.compose(Message{Key: "1", To: "robin@example.org", Text: "Coulée demain.", AckLink: "https://bush.example.org/a/1", Language: "fr", AckWords: "J'ai vu ce message"})
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if _, err := msg.WriteTo(&b); err != nil {
		t.Fatal(err)
	}
	whole := strings.ReplaceAll(strings.ReplaceAll(b.String(), "=\r\n", ""), "=3D", "=")
	if !strings.Contains(whole, `<html lang="fr">`) || !strings.Contains(whole, `<a href="https://bush.example.org/a/1">J&#39;ai vu ce message</a>`) || !strings.Contains(whole, "J'ai vu ce message\r\nhttps://bush.example.org/a/1") || strings.Contains(whole, "Seen") {
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
	for _, want := range []string{"Subject: Hill: Pails run over.\r\n", "Hill: Pails run over.\r\n\r\nSap runs. Low 24 F.", "<p>Hill: Pails run over.</p><p>Sap runs. Low 24 F.</p>"} {
		if whole := strings.ReplaceAll(b.String(), "=\r\n", ""); !strings.Contains(whole, want) {
			t.Errorf("no %q in\n%s", want, whole)
		}
	}
}
