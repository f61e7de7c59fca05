package sections

import (
	"time"

	"thawline/alerts"
	"thawline/alerts/message"
	"thawline/forecast"
)

// Document is an outlook and the words made from it, as programs read it.
type Document struct {
	forecast.Outlook
	Cautions    []string `json:"cautions"` // in words
	Alerts      []Alert  `json:"alerts"`
	EveningText string   `json:"evening_text"`
}

// Alert is something that an evening would tell of an outlook, by the usual bounds,
// had nothing been told before. What was told stands in the ledger.
type Alert struct {
	Kind     alerts.Kind `json:"kind"`
	Text     string      `json:"text"`
	Urgent   bool        `json:"urgent"`
	UsefulTo time.Time   `json:"useful_to"`
}

// nothingTold remembers nothing.
type nothingTold struct{}

func (nothingTold) Last(string, alerts.Kind, string) (alerts.Decision, time.Time, bool, error) {
	return alerts.Decision{}, time.Time{}, false, nil
}

// DocumentOf makes the document of an outlook.
func DocumentOf(o *forecast.Outlook, words *message.Words) *Document {
	d := &Document{Outlook: *o, Alerts: []Alert{}, EveningText: words.Evening(o)}
	told, _ := alerts.Decide(o, nothingTold{}, alerts.Moment{Now: o.IssuedAt, Evening: true},
		alerts.Usual) // fails only where a memory does
	for i := range told {
		d.Alerts = append(d.Alerts, Alert{told[i].Kind, words.Alert(&told[i], o), told[i].Urgent, told[i].Until})
	}
	for _, caution := range o.Cautions {
		d.Cautions = append(d.Cautions, words.Say("caution_"+string(caution), nil))
	}
	return d
}
