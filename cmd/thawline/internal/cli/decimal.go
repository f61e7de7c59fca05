package cli

import (
	"errors"
	"math"
	"strconv"
	"strings"
)

// Decimal is a number of an option, with a point or a comma before its decimals.
type Decimal float64

func (d *Decimal) String() string { return strconv.FormatFloat(float64(*d), 'f', -1, 64) }

// Set reads the number.
func (d *Decimal) Set(text string) error {
	x, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(text), ",", ".", 1), 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		return errors.New("write a number, such as 2.1")
	}
	*d = Decimal(x)
	return nil
}

// Type is what help calls the value.
func (d *Decimal) Type() string { return "NUMBER" }
