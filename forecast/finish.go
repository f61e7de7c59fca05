package forecast

import (
	"time"

	"thawline/forecast/boil"
	"thawline/forecast/records"
)

// FinishOf is where a keeper's next batch of sugar leaves the fire, in a room of a humidity
// in per cent (NaN where nobody knows): learnt from the batches of a book, of all winters,
// oldest first.
func FinishOf(book []records.HouseEntry, humidityPct float64) (boil.FinishPoint, error) {
	var batches []boil.SugarBatch
	for i := range book {
		if b := book[i].Sugar; b != nil {
			batches = append(batches, boil.SugarBatch{RiseK: b.LeftC - b.WaterC, HumidityPct: b.HumidityPct,
				Outcome: boil.SugarOutcome(b.Outcome)})
		}
	}
	return boil.LearnFinish(batches, humidityPct)
}

// EarlyBoils are the boils of a book that gave syrup within so many days of the first, the
// oldest first: early syrup is the light one that stirs well to sugar (from memory).
func EarlyBoils(book []records.HouseEntry, within time.Duration) []records.HouseEntry {
	var out []records.HouseEntry
	for i := range book {
		if e := book[i]; e.Kind == records.Boiled && e.SyrupL > 0 && (len(out) == 0 || e.At.Sub(out[0].At) <= within) {
			out = append(out, e)
		}
	}
	return out
}
