package records

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"

	"golang.org/x/text/unicode/norm"
)

// TwoDays is a day in figures that may be read two ways, such as 03/11/2025.
type TwoDays struct {
	Text string
	Days [2]time.Time
}

func (e *TwoDays) Error() string {
	return fmt.Sprintf("%s may be two days: write %s or %s", e.Text, e.Days[0].Format(time.DateOnly), e.Days[1].Format(time.DateOnly))
}

var errWhen = errors.New("write a day like 2026-03-20, 20 March, Mar 20 or yesterday, and a time like 17:30 or 5:30 pm")

// The words of days in English and French, without accents.
var (
	monthWords = words(`jan january janv janvier,feb february fev fevr fevrier,mar march mars,apr april avr avril,may mai,jun june juin,`+
		`jul july juil juillet,aug august aout,sep sept september septembre,oct october octobre,nov november novembre,dec december decembre`, 1) //nolint:misspell // French without its accents
	weekdayWords = words(`sun sunday dim dimanche,mon monday lun lundi,tue tues tuesday mar mardi,wed wednesday mer mercredi,`+
		`thu thur thurs thursday jeu jeudi,fri friday ven vendredi,sat saturday sam samedi`, 0)
	dayWords    = map[string]int{"today": 0, "aujourd'hui": 0, "tomorrow": 1, "demain": 1, "yesterday": -1, "hier": -1, "avant-hier": -2}
	partWords   = map[string]int{"morning": 8, "matin": 8, "afternoon": 15, "apres-midi": 15, "evening": 18, "soir": 18, "night": 20}
	silentWords = map[string]bool{"this": true, "ce": true, "cet": true, "cette": true, "at": true, "on": true, "the": true, "of": true, "a": true, "le": true, "de": true, "du": true,
		"vers": true, "around": true}

	clockWords   = regexp.MustCompile(`(?:^|\s)(?:(\d{1,2})(?:[:.](\d{2}))?\s*([ap])\.?m\.?|(\d{1,2})\s*h(?:\s*(\d{2}))?|(\d{1,2}):(\d{2})|(noon|midi|midnight|minuit))(?:\s|$)`)
	ordinalWord  = regexp.MustCompile(`^(\d{1,2})(?:st|nd|rd|th|er|e)?$`)
	figures      = regexp.MustCompile(`^(\d{1,2})[/.-](\d{1,2})(?:[/.-](\d{4}))?$`)
	namesYear    = regexp.MustCompile(`(?:^|[ /.-])(?:19|20|21)\d{2}$`)
	yearWord     = regexp.MustCompile(`^(?:19|20|21)\d{2}$`)
	monthBetween = regexp.MustCompile(`^(\d{1,2})-([a-z]+)-(\d{4})$`)
)

func words(table string, first int) map[string]int {
	out := map[string]int{}
	for i, line := range strings.Split(table, ",") {
		for _, word := range strings.Fields(line) {
			out[word] = first + i
		}
	}
	return out
}

// ReadWhen reads when something was, or with ahead when it will be, as people write it,
// in English or French: "yesterday 5 pm", "11 mars", "Mar 11 2026", "demain 16 h 30",
// "Sat 9am", and what ParseMoment reads. A day without a year, and a weekday, is the
// nearest on that side of now. It fails with a *TwoDays where figures may be two days.
func ReadWhen(text string, now time.Time, zone *time.Location, ahead bool) (at time.Time, dateOnly bool, err error) {
	if at, dateOnly, err := ParseMoment(text, zone); err == nil {
		return at, dateOnly, nil
	}
	plain := plainWords(text)
	now = now.In(zone)
	hour, minute, clocked := 0, 0, false
	if m := clockWords.FindStringSubmatchIndex(plain); m != nil {
		if hour, minute, err = clockOf(clockWords.FindStringSubmatch(plain)); err != nil {
			return time.Time{}, false, err
		}
		plain, clocked = plain[:m[0]]+" "+plain[m[1]:], true
	}
	if hours, left, is := partOfDay(plain); is && !clocked {
		hour, plain, clocked = hours, left, true
	}
	day, found, err := dayOf(plain, now, ahead)
	if err != nil || !found && !clocked {
		return time.Time{}, false, orElse(err, errWhen)
	}
	if !clocked {
		return usualTime(day, zone), true, nil
	}
	y, m, d := day.Date()
	at = time.Date(y, m, d, hour, minute, 0, 0, zone)
	return at, false, nil
}

// partOfDay is the usual hour of a word such as "evening", and what is left of the text without
// it; "last night" is yesterday's.
func partOfDay(plain string) (hour int, left string, is bool) {
	words := strings.Fields(strings.ReplaceAll(plain, "last night", "yesterday night"))
	for i, word := range words {
		if at, is := partWords[word]; is {
			return at, strings.Join(append(words[:i:i], words[i+1:]...), " "), true
		}
	}
	return 0, plain, false
}

func orElse(err, otherwise error) error {
	if err != nil {
		return err
	}
	return otherwise
}

// plainWords is a text in lower case without accents, commas and doubled spaces.
func plainWords(text string) string {
	plain := strings.Map(func(r rune) rune {
		switch {
		case unicode.Is(unicode.Mn, r):
			return -1
		case r == ',' || r == '\u00a0' || r == '\u202f':
			return ' '
		case r == '’':
			return '\''
		}
		return r
	}, norm.NFD.String(strings.ToLower(text)))
	return strings.Join(strings.Fields(plain), " ")
}

// clockOf is a time of day from the groups of clockWords.
func clockOf(m []string) (hour, minute int, err error) {
	number := func(text string) int { n, _ := strconv.Atoi(text); return n }
	switch {
	case m[8] == "noon" || m[8] == "midi":
		return 12, 0, nil
	case m[8] != "":
		return 0, 0, nil
	case m[3] != "":
		hour, minute = number(m[1]), number(m[2])
		if hour < 1 || hour > 12 {
			return 0, 0, errWhen
		}
		if hour %= 12; m[3] == "p" {
			hour += 12
		}
	case m[4] != "":
		hour, minute = number(m[4]), number(m[5])
	default:
		hour, minute = number(m[6]), number(m[7])
	}
	if hour > 23 || minute > 59 {
		return 0, 0, errWhen
	}
	return hour, minute, nil
}

// dayOf reads a day, at midnight UTC; found is false where nothing speaks of one, and
// then it is today.
func dayOf(plain string, now time.Time, ahead bool) (day time.Time, found bool, err error) {
	y, m, d := now.Date()
	today := time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
	var left []string
	for _, word := range strings.Fields(plain) {
		if bare := strings.TrimSuffix(word, "."); !silentWords[bare] {
			left = append(left, bare)
		}
	}
	if len(left) == 0 {
		return today, false, nil
	}
	if by, is := dayWords[left[0]]; is && len(left) == 1 {
		return today.AddDate(0, 0, by), true, nil
	}
	if weekday, is := weekdayWords[left[0]]; is && len(left) == 1 {
		by := (weekday - int(today.Weekday()) + 7) % 7
		if !ahead && by > 0 {
			by -= 7
		}
		return today.AddDate(0, 0, by), true, nil
	}
	if len(left) == 1 {
		if f := figures.FindStringSubmatch(left[0]); f != nil {
			day, err := inFigures(left[0], f, today, ahead)
			return day, true, err
		}
		if f := monthBetween.FindStringSubmatch(left[0]); f != nil {
			left = f[1:]
		}
	}
	day, err = named(left, today, ahead)
	return day, true, err
}

// named reads a day with the name of its month, and perhaps that of the day, and a year.
func named(words []string, today time.Time, ahead bool) (time.Time, error) {
	day, month, year, weekday, months := 0, 0, 0, -1, 0
	for _, word := range words {
		if monthWords[word] != 0 {
			months++
		}
	}
	for i, word := range words {
		w, isDay := weekdayWords[word]
		m, isMonth := monthWords[word]
		n := ordinalWord.FindStringSubmatch(word)
		switch {
		case isDay && i == 0 && (!isMonth || months > 1): // "mar 11" is in March, "mar 17 mars" a Tuesday
			weekday = w
		case isMonth && month == 0:
			month = m
		case n != nil && day == 0:
			day, _ = strconv.Atoi(n[1])
		case yearWord.MatchString(word) && year == 0:
			year, _ = strconv.Atoi(word)
		default:
			return time.Time{}, errWhen
		}
	}
	if day == 0 || month == 0 {
		return time.Time{}, errWhen
	}
	at, there := dayIn(year, month, day, today, ahead)
	if !there || weekday >= 0 && int(at.Weekday()) != weekday {
		return time.Time{}, errWhen
	}
	return at, nil
}

// dayIn is a day of a year; without one of the nearest on that side of today. It is
// false for one that never comes.
func dayIn(year, month, day int, today time.Time, ahead bool) (at time.Time, there bool) {
	if year == 0 {
		year = today.Year()
		at = time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC)
		switch {
		case ahead && at.Before(today):
			year++
		case !ahead && at.After(today):
			year--
		}
	}
	at = time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC)
	return at, at.Day() == day && int(at.Month()) == month
}

// inFigures reads 24/02/2013 and 02/24/2013.
func inFigures(text string, f []string, today time.Time, ahead bool) (time.Time, error) {
	first, _ := strconv.Atoi(f[1])
	second, _ := strconv.Atoi(f[2])
	year, _ := strconv.Atoi(f[3])
	a, monthFirst := dayIn(year, first, second, today, ahead)
	b, dayFirst := dayIn(year, second, first, today, ahead)
	switch {
	case monthFirst && dayFirst && !a.Equal(b):
		return time.Time{}, &TwoDays{text, [2]time.Time{a, b}}
	case monthFirst:
		return a, nil
	case dayFirst:
		return b, nil
	}
	return time.Time{}, errWhen
}
