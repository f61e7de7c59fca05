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
