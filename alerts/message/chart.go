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
	open := w.Open()
	say := func(key string, values map[string]any) string { return settled(open.Say(key, values)) }
	degree := "°C"
	if w.reader.Units == units.US {
		degree = "°F"
	}
	unit := open.VolumeUnit()
	return &chart.Labels{
		Title: say("chart_title", map[string]any{"Name": name}), Temperature: say("chart_temperature", map[string]any{"Unit": degree}),
		Flow: say("chart_flow", map[string]any{"Unit": unit}), DayFlow: say("chart_day_flow", map[string]any{"Unit": unit}),
		Now: say("chart_now", nil), Freezing: say("chart_freezing", nil), Range: say("chart_range", nil),
		DayRange:  say("chart_day_range", nil),
		Collected: say("chart_collected", nil), When: say("chart_when", nil),
		Day:  func(t time.Time) string { return settled(w.ShortWeekday(t)) + " " + strconv.Itoa(t.Day()) },
		Date: func(t time.Time) string { return settled(w.Date(t)) },
		Hour: func(t time.Time) string {
			return settled(w.ShortWeekday(t)) + " " + strconv.Itoa(t.Day()) + " " + settled(w.Time(t))
		},
		Rain: say("chart_rain", nil), Wood: say("chart_wood", nil), Clock: func(t time.Time) string { return settled(w.Time(t)) },
		Fall:   func(mm float64, snow bool) string { return settled(open.fall(mm, snow)) },
		Number: func(text string) string { return settled(w.Number(text)) }, Units: w.reader.Units,
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
