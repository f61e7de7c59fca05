package channel

import (
	"slices"
)

// Kind is a kind of channel: one beside each adapter.
type Kind struct {
	Name    string         // in settings
	Options func() Options // without any setting
	Senders int            // messages on their way at a time where settings say nothing, 0 for a few
}

var kinds = []*Kind{&gatewayKind, &voiceKind, &modemKind, &emailKind, &webhookKind, &ntfyKind, &mqttKind, &webPushKind}

// Kinds lists all kinds of channels.
func Kinds() []*Kind { return slices.Clone(kinds) }

// Setting is one setting of a channel: its key, the value that the example shows ("" where
// another kind shows the key), and the field that it fills, a *string, *secret.Text,
// *bool ("tls" or "none"), *int (a port) or **regexp.Regexp.
type Setting struct {
	Key, Example string
	Into         any
	File         bool   // a text that names a file
	Usual        int    // of a port
	Remedy       string // for one that is no regular expression
}
