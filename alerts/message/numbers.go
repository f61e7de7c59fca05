package message

import (
	"strconv"
	"strings"
)

// numberWords are whole numbers in words, for the languages in which it is known how they
// are said. Nothing has a dash: a voice would stumble over it.
var numberWords = map[string]func(int) string{"en": englishNumber, "fr": frenchNumber}

var (
	englishSmall = strings.Fields("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen")
	englishTens  = strings.Fields("- - twenty thirty forty fifty sixty seventy eighty ninety")
	frenchSmall  = strings.Fields("zéro un deux trois quatre cinq six sept huit neuf dix onze douze treize quatorze quinze seize dix_sept dix_huit dix_neuf")
	frenchTens   = strings.Fields("- - vingt trente quarante cinquante soixante soixante quatre_vingt quatre_vingt")
)

func englishNumber(n int) string {
	switch {
	case n < 20:
		return englishSmall[n]
	case n < 100:
		return joinNumber(englishTens[n/10], n%10, englishNumber)
	case n < 1000:
		return joinNumber(englishSmall[n/100]+" hundred", n%100, englishNumber)
	case n < 1_000_000:
		return joinNumber(englishNumber(n/1000)+" thousand", n%1000, englishNumber)
	}
	return joinNumber(englishNumber(n/1_000_000)+" million", n%1_000_000, englishNumber)
}

func joinNumber(big string, rest int, say func(int) string) string {
	if rest == 0 {
		return big
	}
	return big + " " + say(rest)
}

func frenchNumber(n int) string {
	switch {
	case n < 20:
		return strings.ReplaceAll(frenchSmall[n], "_", " ")
	case n < 100:
		return frenchBelowHundred(n)
	case n < 1000:
		hundreds := "cent"
		if n >= 200 {
			hundreds = frenchNumber(n/100) + " cent"
			if n%100 == 0 {
				hundreds += "s"
			}
		}
		return joinNumber(hundreds, n%100, frenchNumber)
	case n < 2000:
		return joinNumber("mille", n%1000, frenchNumber)
	case n < 1_000_000:
		return joinNumber(strings.TrimSuffix(frenchNumber(n/1000), "s")+" mille", n%1000, frenchNumber)
	case n < 2_000_000:
		return joinNumber("un million", n%1_000_000, frenchNumber)
	}
	return joinNumber(frenchNumber(n/1_000_000)+" millions", n%1_000_000, frenchNumber)
}

func frenchBelowHundred(n int) string {
	tens, ones := n/10, n%10
	if tens == 7 || tens == 9 {
		ones += 10
	}
	big := strings.ReplaceAll(frenchTens[tens], "_", " ")
	switch {
	case n == 80:
		return "quatre vingts"
	case ones == 0:
		return big
	case (ones == 1 || ones == 11) && tens < 8:
		return big + " et " + frenchNumber(ones)
	}
	return big + " " + frenchNumber(ones)
}

// inWords writes digits as words in a language; as they are where nobody has said how.
func inWords(tag, digits string) string {
	n, err := strconv.Atoi(digits)
	say := numberWords[tag]
	if err != nil || n < 0 || n >= 1_000_000_000 || say == nil {
		return digits
	}
	return say(n)
}
