package message

import (
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
		Number: w.Number, Units: w.reader.Units,
	}
}
