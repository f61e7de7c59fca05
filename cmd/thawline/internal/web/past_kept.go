package web

import (
	"math"
	"time"

	"thawline/forecast"
)

// pastForm is that of what is kept of past seasons. It changes with what a look back works
// out, so that a build without a version of its own shows nothing that another worked out.
const pastForm = "3"

// keptSeason is what is kept of a season's days, one after the other: litres and degrees in
// tenths, as exactly as a look back tells them.
type keptSeason struct {
	Mark  string  `json:"mark"`
	First string  `json:"first"` // date
	Known []byte  `json:"known"` // a bit each, as Ran
	Ran   []byte  `json:"ran"`
	P10   []int64 `json:"p10"`
	P50   []int64 `json:"p50"`
	P90   []int64 `json:"p90"`
	Mean  []int64 `json:"mean"`
	Low   []int64 `json:"low"`
	High  []int64 `json:"high"`
}

func keepSeason(mark string, past *forecast.Past) keptSeason {
	k := keptSeason{Mark: mark, Known: make([]byte, (len(past.Days)+7)/8), Ran: make([]byte, (len(past.Days)+7)/8)}
	add := func(to *[]int64, x float64) { *to = append(*to, int64(math.Round(10*x))) }
	set := func(to []byte, i int, is bool) {
		if is {
			to[i/8] |= 1 << (i % 8)
		}
	}
	for i := range past.Days {
		d := &past.Days[i]
		if i == 0 {
			k.First = d.Date
		}
		set(k.Known, i, d.Known)
		set(k.Ran, i, d.Ran)
		add(&k.P10, d.SapL.P10)
		add(&k.P50, d.SapL.P50)
		add(&k.P90, d.SapL.P90)
		add(&k.Mean, d.MeanL)
		add(&k.Low, d.TemperatureC.Min)
		add(&k.High, d.TemperatureC.Max)
	}
	return k
}

func (k *keptSeason) past() *forecast.Past {
	past := &forecast.Past{Days: make([]forecast.PastDay, len(k.P50))}
	first, _ := time.Parse(time.DateOnly, k.First) // without days there is none
	is := func(of []byte, i int) bool { return of[i/8]>>(i%8)&1 == 1 }
	tenth := func(n int64) float64 { return float64(n) / 10 }
	for i := range past.Days {
		past.Days[i] = forecast.PastDay{Date: first.AddDate(0, 0, i).Format(time.DateOnly), Known: is(k.Known, i), Ran: is(k.Ran, i),
			SapL: forecast.Range{P10: tenth(k.P10[i]), P50: tenth(k.P50[i]), P90: tenth(k.P90[i])}, MeanL: tenth(k.Mean[i]),
			TemperatureC: forecast.MinMax{Min: tenth(k.Low[i]), Max: tenth(k.High[i])}}
	}
	return past
}
