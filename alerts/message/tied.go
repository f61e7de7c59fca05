package message

import (
	"regexp"
	"strings"

	"golang.org/x/text/language"
)

// apart are the elements whose text is no running text: programs and styles, what somebody may
// change and send back, what is copied as it is, and a text as somebody was sent it (q), in
// their language.
var apart = regexp.MustCompile(`(?is)<(script|style|textarea|pre|code|option|q)\b.*?</(?:script|style|textarea|pre|code|option|q)>`)

// A figure and the sign or unit after it, in any language and in French. Go has no look-ahead:
// what ends a unit is kept.
var (
	degrees     = regexp.MustCompile(`([0-9]) ([°%])`)
	frenchUnit  = regexp.MustCompile(`([0-9]) (h|min|L|litres?|gal|gallons?|kg|g|lb|livres?|km/h|km|m|cm|mm|po|pi|hPa|kPa|K)([^\pL\pN]|$)`)
	frenchColon = regexp.MustCompile(`([\pL\pN)».’'?!]): `)
	hourMinute  = regexp.MustCompile(`(\x{a0}h) ([0-9])`)
)

var frenchSigns = strings.NewReplacer(" :", "\u00a0:", "« ", "«\u00a0", " »", "\u00a0»", " !", "\u00a0!", " ?", "\u00a0?", " ;", "\u00a0;")

// Tied puts spaces at which no line ends into the text of a page (HTML), where a language has a
// space and wants both sides of it on one line: before a degree or a per cent sign, and in
// French beside a colon and quotation marks and between figure and unit (Office québécois de la
// langue française, "Espacement avant et après les signes de ponctuation", from memory).
// Catalogues are typed with plain spaces, which is all that a text message has.
func Tied(page, tag string) string {
	base, _ := language.Make(tag).Base()
	french := base.String() == "fr"
	var b strings.Builder
	b.Grow(len(page) + len(page)/16)
	for page != "" {
		whole := apart.FindStringIndex(page)
		if whole == nil {
			tiedText(&b, page, french)
			break
		}
		tiedText(&b, page[:whole[0]], french)
		b.WriteString(page[whole[0]:whole[1]])
		page = page[whole[1]:]
	}
	return b.String()
}

// tiedText is Tied of text and tags, of which the tags stay as they are.
func tiedText(b *strings.Builder, page string, french bool) {
	for page != "" {
		text, rest, tagged := strings.Cut(page, "<")
		b.WriteString(tiedRun(text, french))
		if !tagged {
			return
		}
		tag, after, closed := strings.Cut(rest, ">")
		b.WriteByte('<')
		b.WriteString(tag)
		if closed {
			b.WriteByte('>')
		}
		page = after
	}
}

func tiedRun(text string, french bool) string {
	if !strings.Contains(text, " ") {
		return text
	}
	text = degrees.ReplaceAllString(text, "$1\u00a0$2")
	if !french {
		return text
	}
	text = frenchColon.ReplaceAllString(frenchSigns.Replace(text), "$1\u00a0: ") // of names, which texts put before a colon as English does
	text = frenchUnit.ReplaceAllString(text, "$1\u00a0$2$3")
	return hourMinute.ReplaceAllString(text, "$1\u00a0$2")
}
