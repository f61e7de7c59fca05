package message

import (
	"strconv"
	"time"

	"thawline/forecast"
	"thawline/forecast/chart"
	"thawline/forecast/units"
)

// ChartLabels are the words of an outlook's picture.
func (w *Words) ChartLabels(o *forecast.Outlook) *chart.Labels {
	degree := "°C"
	if w.reader.Units == units.US {
		degree = "°F"
	}
	_, unit := w.Volume(1)
	return &chart.Labels{
		Title: w.Say("chart_title", map[string]any{"Name": o.Bush.Name}), Temperature: w.Say("chart_temperature", map[string]any{"Unit": degree}),
		Flow: w.Say("chart_flow", map[string]any{"Unit": unit}), Now: w.Say("chart_now", nil), Freezing: w.Say("chart_freezing", nil), Range: w.Say("chart_range", nil),
		Day: func(t time.Time) string { return string([]rune(w.Weekday(t))[:3]) + " " + strconv.Itoa(t.Day()) }, Units: w.reader.Units,
	}
}
