package report

import (
	"thawline/alerts/message"
	"thawline/forecast"
)

// Document is an outlook and the words made from it, as programs read it.
type Document struct {
	forecast.Outlook
	Cautions    []string `json:"cautions"` // in words
	Alerts      []string `json:"alerts"`
	EveningText string   `json:"evening_text"`
}

// DocumentOf makes the document of an outlook.
func DocumentOf(o *forecast.Outlook, words *message.Words) *Document {
	d := &Document{Outlook: *o, Alerts: []string{}, EveningText: words.Evening(o)}
	for _, caution := range o.Cautions {
		d.Cautions = append(d.Cautions, words.Say("caution_"+string(caution), nil))
	}
	return d
}
