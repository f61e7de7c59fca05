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

// plainer replaces what people write in names by what the alphabet has.
var plainer = strings.NewReplacer("’", "'", "‘", "'", "“", "\"", "”", "\"", "«\u00a0", "\"", "\u00a0»", "\"", "«", "\"", "»", "\"", "–", "-", "—", "-", "…", "...",
	"°", "", "œ", "oe", "Œ", "Oe", "\u00a0", " ", "\u202f", " ", "ç", "c", "\n", " ", "\r", " ", "\f", " ")

// ToGSM7 writes a text in the GSM 7-bit alphabet: letters that it lacks lose
// their accents, anything else becomes a question mark.
func ToGSM7(text string) string {
	var b strings.Builder
	for _, r := range norm.NFC.String(plainer.Replace(text)) {
		if strings.ContainsRune(gsmBasic, r) || strings.ContainsRune(gsmExtension, r) {
			b.WriteRune(r)
			continue
		}
		bare := '?'
		for _, d := range norm.NFD.String(string(r)) {
			if strings.ContainsRune(gsmBasic, d) {
				bare = d
				break
			}
			if unicode.Is(unicode.Mn, d) {
				continue
			}
		}
		b.WriteRune(bare)
	}
	return b.String()
}
