package message

import (
	"math"
	"strconv"
	"time"

	"thawline/forecast/chart"
	"thawline/forecast/units"
)

// ChartLabels are the words of a picture of flow at a bush.
func (w *Words) ChartLabels(name string) *chart.Labels {
	degree := "°C"
	if w.reader.Units == units.US {
		degree = "°F"
	}
	unit := w.VolumeUnit()
	return &chart.Labels{
		Title: w.Say("chart_title", map[string]any{"Name": name}), Temperature: w.Say("chart_temperature", map[string]any{"Unit": degree}),
		Flow: w.Say("chart_flow", map[string]any{"Unit": unit}), DayFlow: w.Say("chart_day_flow", map[string]any{"Unit": unit}),
		Now: w.Say("chart_now", nil), Freezing: w.Say("chart_freezing", nil), Range: w.Say("chart_range", nil), DayRange: w.Say("chart_day_range", nil),
		Collected: w.Say("chart_collected", nil), When: w.Say("chart_when", nil),
		Day:  func(t time.Time) string { return w.ShortWeekday(t) + " " + strconv.Itoa(t.Day()) },
		Date: w.Date,
		Hour: func(t time.Time) string {
			return w.ShortWeekday(t) + " " + strconv.Itoa(t.Day()) + " " + w.Time(t)
		},
		Rain: w.Say("chart_rain", nil), Wood: w.Say("chart_wood", nil), Clock: w.Time, Fall: w.fall,
		Number: w.Number, Units: w.reader.Units,
	}
}

// fall is how much rain or snow came, in the reader's unit; ten of snow for one of water
// (common practice).
func (w *Words) fall(mm float64, snow bool) string {
	key, amount, unit, digits := "chart_fall_rain", mm, "mm", 0
	if snow {
		key, unit = "chart_fall_snow", "cm"
	}
	if w.reader.Units == units.US {
		unit = "in"
		if amount /= 25.4; snow {
			amount *= 10
		}
		if amount < 1 {
			digits = 1
		}
	}
	said := strconv.FormatFloat(max(amount, math.Pow10(-digits)), 'f', digits, 64)
	return w.Say(key, map[string]any{"Amount": w.Number(said), "Unit": unit})
}
