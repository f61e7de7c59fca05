package message

import (
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// The GSM 7-bit default alphabet and its extension, whose characters take two
// places (3GPP TS 23.038, 6.2.1).
const (
	gsmBasic = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?" +
		"¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
	gsmExtension = "\f^{}\\[~]|€"
)

// SMSLimit is what one text message holds, in septets.
const SMSLimit = 160

// Septets is the length of a text in the GSM 7-bit alphabet; false if a
// character is not in it and the whole message would turn to 70 characters.
func Septets(text string) (int, bool) {
	n := 0
	for _, r := range text {
		switch {
		case strings.ContainsRune(gsmBasic, r):
			n++
		case strings.ContainsRune(gsmExtension, r):
			n += 2
		default:
			return 0, false
		}
	}
	return n, true
}

// plainer replaces signs that people write in names by those that the alphabet has.
var plainer = strings.NewReplacer("’", "'", "‘", "'", "“", "\"", "”", "\"", "«\u00a0", "\"", "\u00a0»", "\"", "« ", "\"", " »", "\"",
	"«", "\"", "»", "\"", "–", "-", "—", "-", "…", "...",
	"°", "", "\u00a0", " ", "\u202f", " ", "\n", " ", "\r", " ", "\f", " ")

// barer writes letters as French does where it has no others at hand.
var barer = strings.NewReplacer("œ", "oe", "Œ", "Oe", "ç", "c")

// ToGSM7 writes a text in the GSM 7-bit alphabet. Where accents may go, letters that the
// alphabet lacks lose theirs. Signs that are no letters give way. It reports false where a
// letter would be lost: then the text needs another alphabet.
func ToGSM7(text string, accentsMayGo bool) (plain string, whole bool) {
	text = plainer.Replace(text)
	if accentsMayGo {
		text = barer.Replace(text)
	}
	var b strings.Builder
	for _, r := range norm.NFC.String(text) {
		switch {
		case strings.ContainsRune(gsmBasic, r) || strings.ContainsRune(gsmExtension, r):
			b.WriteRune(r)
		case unicode.In(r, unicode.So, unicode.Sk, unicode.Cf, unicode.Cc) || unicode.Is(unicode.Variation_Selector, r):
		case unicode.In(r, unicode.P, unicode.Sm):
			b.WriteByte('-')
		default:
			bare := baseOf(r)
			if bare == 0 || !accentsMayGo {
				return "", false
			}
			b.WriteRune(bare)
		}
	}
	return b.String(), true
}

// baseOf is a letter without its accents, 0 where the alphabet lacks that too.
func baseOf(r rune) rune {
	for _, d := range norm.NFD.String(string(r)) {
		if strings.ContainsRune(gsmBasic, d) {
			return d
		}
		if !unicode.Is(unicode.Mn, d) {
			break
		}
	}
	return 0
}
