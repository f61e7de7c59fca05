package verify

import "time"

// dayCounter counts, hour by hour since the last visit, what simpler rules
// would go by.
type dayCounter struct {
	rule, heat  float64 // days that pass the threshold rule; degree hours above freezing
	sum, square float64 // of the days' flows

	day       string
	low, high float64
	today     float64
}

// The threshold rule of climate studies: a night below -1.1 °C and a day above
// 2.2 °C (Skinner, DeGaetano and Chabot 2010, from memory).
const (
	ruleLowC  = -1.1
	ruleHighC = 2.2
)

func (d *dayCounter) hour(local time.Time, c, flowL float64) {
	if day := local.Format(time.DateOnly); day != d.day {
		d.close()
		d.day, d.low, d.high, d.today = day, c, c, 0
	}
	d.low, d.high = min(d.low, c), max(d.high, c)
	d.today += flowL
	d.heat += max(c, 0)
}

func (d *dayCounter) close() {
	if d.day != "" && d.low < ruleLowC && d.high > ruleHighC {
		d.rule++
	}
	d.sum += d.today
	d.square += d.today * d.today
	d.day, d.today = "", 0
}

// effective is over how many days the flow is spread, counting uneven ones for
// less; it closes the day.
func (d *dayCounter) effective() float64 {
	d.close()
	if d.square == 0 {
		return 1
	}
	return max(d.sum*d.sum/d.square, 1)
}
