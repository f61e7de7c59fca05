package channel

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"unicode/utf16"

	"github.com/google/renameio/v2"
)

// Modem puts text messages into the outbox folder of gammu-smsd, for places
// with a GSM modem and without internet.
type Modem struct{ Outbox string }

// ModemKind is the name of this kind in settings.
const ModemKind = "gsm_modem"

var modemKind = Kind{Name: ModemKind, Options: func() Options { return &Modem{} }}

// Settings are those of Options.
func (g *Modem) Settings() []Setting {
	return []Setting{
		{Key: "outbox", Example: "/var/spool/gammu/outbox", Into: &g.Outbox, File: true},
	}
}

// Check is that of Options.
func (g *Modem) Check() []Fault {
	return missing(ModemKind, "outbox", g.Outbox, "name the outbox folder of gammu-smsd, such as /var/spool/gammu/outbox")
}

// Open is that of Options: a modem is its own.
func (g *Modem) Open(With) Channel { return g }

// To is the person's number.
func (g *Modem) To(r Reach) string { return r.Phone.Reveal() }

// Send writes one file. Its name holds the key, so that a second attempt
// replaces the first where that has not been sent yet.
func (g *Modem) Send(_ context.Context, m Message) (string, error) {
	if m.To == "" || strings.ContainsAny(m.To, "/_\\") {
		return "", &Refusal{Said: "no number that a file can be named after", Permanent: true}
	}
	priority := "C"
	if m.Urgent {
		priority = "A"
	}
	key := strings.Map(func(r rune) rune {
		if r == '-' || r == '_' || r == '/' || r == '.' {
			return -1
		}
		return r
	}, m.Key)
	name := fmt.Sprintf("OUT%s%s_00_%s_%s.txt", priority, m.MadeAt.UTC().Format("20060102_150405"), m.To, key)
	// UTF-16 with a mark, which the daemon reads whatever the locale.
	data := []byte{0xff, 0xfe}
	for _, u := range utf16.Encode([]rune(m.ForPhone())) {
		data = binary.LittleEndian.AppendUint16(data, u)
	}
	// gammu-smsd is another account, of the folder's group: the daemon's umask would
	// keep the file from it. A file made elsewhere would not get that group.
	const mode = 0o660
	if err := renameio.WriteFile(filepath.Join(g.Outbox, name), data, mode, renameio.WithStaticPermissions(mode),
		renameio.WithTempDir(g.Outbox)); err != nil {
		return "", errors.Join(errors.New("outbox of the modem"), err)
	}
	return "in the outbox", nil
}
