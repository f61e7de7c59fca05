package setup

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"thawline/alerts/message"
	"thawline/forecast/units"
)

// folded is a text in lower case without accents, signs between words, and points at
// its end.
func folded(text string) string {
	plain := strings.Map(func(r rune) rune {
		switch {
		case unicode.Is(unicode.Mn, r): // an accent, by itself now
			return -1
		case r == '_' || r == '-' || r == '’' || r == '\'':
			return ' '
		}
		return r
	}, norm.NFD.String(strings.ToLower(text)))
	return strings.Trim(strings.Join(strings.Fields(plain), " "), " .!")
}

// means reports whether a text is among the words of a key, in any language.
func means(text, key string) bool {
	c, err := message.BuiltIn()
	if err != nil {
		return false
	}
	text = folded(text)
	for _, in := range c.InEach(key) {
		if slices.ContainsFunc(strings.Split(in.Text, ","), func(word string) bool { return text != "" && folded(word) == text }) {
			return true
		}
	}
	return false
}

// nearest is the option that a misspelt text most likely means, "" for none.
func (one *question) nearest(text string) string {
	c, err := message.BuiltIn()
	if err != nil || one.options == nil {
		return ""
	}
	var words []string
	of := map[string]string{}
	for _, o := range one.options {
		for _, in := range c.InEach("option_words_" + o) {
			for word := range strings.SplitSeq(in.Text, ",") {
				word = folded(word)
				words, of[word] = append(words, word), o
			}
		}
	}
	return of[units.Nearest(folded(text), words)]
}

var (
	wholeNumber = regexp.MustCompile(`[0-9]+`)
	inThousands = regexp.MustCompile(`([0-9])[ \x{00a0}\x{202f},.']([0-9]{3})([^0-9]|$)`)
	belowZero   = regexp.MustCompile(`[-−]\s*[0-9]`)
	bareNumber  = regexp.MustCompile(`^[0-9]+(?:[.,][0-9]+)?$`)
	bareGallon  = regexp.MustCompile(`(?i)\b(gal|gals|gallon|gallons|qt|qts|quart|quarts)\b`)
)

// oneNumber reads the one whole number in a text: "about 120 taps", "1 200".
func oneNumber(text string) (n int, ok bool) {
	for inThousands.MatchString(text) {
		text = inThousands.ReplaceAllString(text, "$1$2$3")
	}
	found := wholeNumber.FindAllString(text, -1)
	if len(found) != 1 || belowZero.MatchString(text) {
		return 0, false
	}
	n, err := strconv.Atoi(found[0])
	return n, err == nil
}

// plainQuantity takes "about" and its like from before a number.
func plainQuantity(text string) string {
	text = strings.TrimSpace(text)
	if at := strings.IndexFunc(text, func(r rune) bool { return r >= '0' && r <= '9' }); at > 0 && means(text[:at], "init_about_words") {
		return text[at:]
	}
	return text
}

// volume reads a volume whose unit or whose gallon may be left out, and writes it so
// that nobody has to guess again; guessed is true where something was left out.
func (b *answers) volume(text string) (exact string, litres float64, guessed bool, err error) {
	text = plainQuantity(text)
	if litres, err = units.ParseVolume(text, units.Metric); err == nil {
		return text, litres, false, nil
	}
	unit := "L"
	gallons := b.units
	if gallons == units.Metric { // which gallon somebody means who reads litres, the country says
		gallons = units.Imperial
		if b.zone != nil && countryOf(b.zone) == "US" {
			gallons = units.US
		}
	}
	country := map[units.System]string{units.US: "US", units.Imperial: "imp"}[gallons]
	if b.units != units.Metric {
		unit = country + " gal"
	}
	switch {
	case bareNumber.MatchString(text):
		exact = text + " " + unit
	case bareGallon.MatchString(text):
		exact = bareGallon.ReplaceAllString(text, country+" $1")
	default:
		return "", 0, false, err
	}
	if litres, err = units.ParseVolume(exact, units.Metric); err != nil {
		return "", 0, false, err
	}
	return exact, litres, b.units == units.Metric || !bareGallon.MatchString(text), nil
}

// vacuum reads a vacuum whose unit may be left out: no pump pulls 30 inHg.
func vacuum(text string) (exact string, err error) {
	text = plainQuantity(text)
	if bareNumber.MatchString(text) {
		unit := " inHg"
		if v, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64); err == nil && v >= 30 {
			unit = " kPa"
		}
		text += unit
	}
	kPa, err := units.ParseVacuum(text)
	if err == nil && kPa > 95 {
		err = fmt.Errorf("%s: no pump pulls that much", text)
	}
	return text, err
}

var phonePunctuation = strings.NewReplacer(" ", "", "\u00a0", "", "-", "", "(", "", ")", "", ".", "", "/", "")

// takePhone reads a telephone number as people write it: ten digits are of North America.
func (b *answers) takePhone(text string) error {
	number := phonePunctuation.Replace(text)
	switch {
	case strings.HasPrefix(number, "00"):
		number = "+" + number[2:]
	case len(number) == 10 && countryOf(b.zone) != "":
		number = "+1" + number
	case len(number) == 11 && number[0] == '1':
		number = "+" + number
	}
	if !international.MatchString(number) {
		return errors.New("not a telephone number")
	}
	b.phone = number
	return nil
}

var international = regexp.MustCompile(`^\+[1-9][0-9]{6,14}$`) // ITU-T E.164
