package message

import (
	"fmt"
	"math"
	"strings"

	"thawline/forecast"
	"thawline/forecast/units"
	"thawline/forecast/weather"
)

// Age is how long ago weather was issued, such as "3 hours".
func (w *Words) Age(hours float64) string {
	if hours < 0.5 {
		return w.Say("hours_under_one", nil)
	}
	return w.Plural("hours", int(math.Round(hours)))
}

// Service is what people call a weather service; one that the words do not know goes
// by its id. Several are mixed (weather.MixedNames).
func (w *Words) Service(id string) string {
	if names := strings.Split(id, weather.MixedNames); len(names) > 1 {
		for i := range names {
			names[i] = w.Service(names[i])
		}
		return strings.Join(names, weather.MixedNames)
	}
	key := "service_" + id
	if name := w.Say(key, nil); name != key {
		return name
	}
	return id
}

// Remark is what was missing or estimated about the weather.
func (w *Words) Remark(r *weather.Remark) string {
	values := map[string]any{"Name": w.Service(r.Name), "Why": r.Why, "Hours": r.Hours, "Of": r.Of,
		"From": w.height(r.FromM), "To": w.height(r.ToM), "By": fmt.Sprintf("%+.0f", r.ByK), "Missed": w.apart(r.ByK)}
	if !r.Since.IsZero() {
		values["Since"] = r.Since.UTC().Format("2006-01-02 15:04 UTC")
	}
	return w.Say("remark_"+string(r.Kind), values)
}

// apart is how far temperatures lie apart, in the reader's degrees.
func (w *Words) apart(k float64) string {
	if w.reader.Units == units.US {
		return w.Number(fmt.Sprintf("%.1f", 1.8*k)) + "\u00a0°F"
	}
	return w.Number(fmt.Sprintf("%.1f", k)) + "\u00a0°C"
}

func (w *Words) height(m float64) string {
	if w.reader.Units == units.Metric {
		return fmt.Sprintf("%.0f m", m)
	}
	return w.Say("feet", map[string]any{"N": fmt.Sprintf("%.0f", m/units.MetresPerFoot)})
}

// PassedOver says which service gave nothing, and why. What the service said stays
// in English, for those who look after the machine.
func (w *Words) PassedOver(p forecast.PassedOver) string {
	return w.Say("passed_"+p.Kind, map[string]any{"Name": w.Service(p.Service), "Detail": w.Phrase(p.Detail)})
}
