// Package secret keeps what settings say in confidence out of print and logs.
package secret

import "fmt"

// Text is a text that is neither printed nor logged: a key, a number, an
// address.
type Text struct{ text string }

// New keeps a text.
func New(text string) Text { return Text{text} }

// Reveal returns the text itself, "" where none was given.
func (s Text) Reveal() string { return s.text }

// Given reports whether there is one.
func (s Text) Given() bool { return s.text != "" }

// String hides the text, as do GoString and MarshalText.
func (s Text) String() string {
	if s.text == "" {
		return ""
	}
	return "(hidden)"
}

// GoString hides the text from %#v.
func (s Text) GoString() string { return fmt.Sprintf("secret.Text{%s}", s) }

// MarshalText hides the text from JSON and logs.
func (s Text) MarshalText() ([]byte, error) { return []byte(s.String()), nil }
