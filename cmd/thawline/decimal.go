package main

import (
	"errors"
	"math"
	"strconv"
	"strings"
)

// decimal is a number of an option, with a point or a comma before its decimals.
type decimal float64

func (d *decimal) String() string { return strconv.FormatFloat(float64(*d), 'f', -1, 64) }

func (d *decimal) Set(text string) error {
	x, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(text), ",", ".", 1), 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		return errors.New("write a number, such as 2.1")
	}
	*d = decimal(x)
	return nil
}

// Type is what help calls the value.
func (d *decimal) Type() string { return "NUMBER" }
