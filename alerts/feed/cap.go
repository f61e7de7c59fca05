package feed

import (
	"cmp"
	"encoding/xml"
	"fmt"
	"strings"
	"time"

	"thawline/alerts"
)

// Warning is what a message of the Common Alerting Protocol says.
type Warning struct {
	ID           string // the decision's
	Kind         string // "Alert", "Update" or "Cancel"; the first where it is ""
	References   []Reference
	Sender       string
	Sent         time.Time // with the local offset
	Expires      time.Time
	Event        string
	Headline     string
	Description  string
	Instruction  string
	Language     string // "en-US", "fr-CA"
	Class        alerts.Warning
	AreaName     string
	LatitudeDeg  float64
	LongitudeDeg float64
	RadiusKM     float64 // within which the bush lies of that place
}

// circle is no finer than the radius tells.
func circle(w *Warning) string {
	if w.RadiusKM >= 10 {
		return fmt.Sprintf("%.1f,%.1f %.1f", w.LatitudeDeg, w.LongitudeDeg, w.RadiusKM)
	}
	return fmt.Sprintf("%.4f,%.4f %.1f", w.LatitudeDeg, w.LongitudeDeg, w.RadiusKM)
}

// Reference names an earlier message.
type Reference struct {
	ID   string
	Sent time.Time // with the local offset
}

const moment = "2006-01-02T15:04:05-07:00"

// The kinds of messages that refer to earlier ones.
const (
	Update = "Update" // it takes their place
	Cancel = "Cancel" // they are no longer so; it says nothing else
)

// CAP writes one warning as a CAP 1.2 alert (OASIS, July 2010).
func CAP(w *Warning) ([]byte, error) {
	type area struct {
		Desc   string `xml:"areaDesc"`
		Circle string `xml:"circle"`
	}
	type info struct {
		Language    string `xml:"language"`
		Category    string `xml:"category"`
		Event       string `xml:"event"`
		Urgency     string `xml:"urgency"`
		Severity    string `xml:"severity"`
		Certainty   string `xml:"certainty"`
		Expires     string `xml:"expires"`
		SenderName  string `xml:"senderName"`
		Headline    string `xml:"headline"`
		Description string `xml:"description"`
		Instruction string `xml:"instruction,omitempty"`
		Area        area   `xml:"area"`
	}
	alert := struct {
		XMLName    xml.Name `xml:"urn:oasis:names:tc:emergency:cap:1.2 alert"`
		Identifier string   `xml:"identifier"`
		Sender     string   `xml:"sender"`
		Sent       string   `xml:"sent"`
		Status     string   `xml:"status"`
		MsgType    string   `xml:"msgType"`
		Scope      string   `xml:"scope"`
		Restricted string   `xml:"restriction"`
		References string   `xml:"references,omitempty"`
		Info       *info    `xml:"info"`
	}{
		Identifier: w.ID, Sender: w.Sender, Sent: w.Sent.Format(moment), Status: "Actual", MsgType: cmp.Or(w.Kind, "Alert"),
		Scope: "Restricted", Restricted: "people of this sugarbush",
	}
	for _, r := range w.References {
		alert.References = strings.TrimSpace(alert.References + " " + w.Sender + "," + r.ID + "," + r.Sent.Format(moment))
	}
	if alert.MsgType != Cancel {
		alert.Info = &info{Language: w.Language, Category: w.Class.Category, Event: w.Event, Urgency: w.Class.Urgency,
			Severity: w.Class.Severity, Certainty: w.Class.Certainty, Expires: w.Expires.Format(moment),
			SenderName: "thawline", Headline: printable(w.Headline), Description: printable(w.Description),
			Instruction: printable(w.Instruction),
			Area:        area{printable(w.AreaName), circle(w)}}
	}
	body, err := xml.MarshalIndent(alert, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("cap: %w", err)
	}
	return append([]byte(xml.Header), append(body, '\n')...), nil
}
