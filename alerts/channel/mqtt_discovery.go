package channel

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
)

// sensor is one figure of the document Topic/site/tomorrow. Its class is the home
// automation's name for what is measured, "" for none.
type sensor struct {
	field, name, unit, class, icon string
}

var sensors = []sensor{
	{"run_chance_pct", "Chance of a run tomorrow", "%", "", "mdi:water-percent"},
	{"sap_l", "Sap expected tomorrow", "L", "volume_storage", "mdi:cup-water"},
	{"low_c", "Low tomorrow", "°C", "temperature", "mdi:thermometer-low"},
	{"high_c", "High tomorrow", "°C", "temperature", "mdi:thermometer-high"},
	{"gather", "Gather by tomorrow evening", "", "", "mdi:bucket"},
	{"next_round_at", "Next round", "", "timestamp", "mdi:walk"},
	{"overflow_at", "Runs over if nobody goes", "", "timestamp", "mdi:waves-arrow-up"},
	{"overflow_chance_pct", "Chance to run over within three days", "%", "", "mdi:waves"},
	{"oldest_sap_h", "Age of the oldest sap", "h", "duration", "mdi:timer-sand"},
	{"season_end", "End of the season", "", "date", "mdi:calendar-end"},
}

// yesOrNo is the field that is on or off.
const yesOrNo = "gather"

// silentAfter is when a figure counts as unknown again, in seconds: a day
// without any outlook.
const silentAfter = 24 * 3600

// described tells a home automation of a site's figures.
func (q *MQTT) described(site, name string) ([]Document, error) {
	if q.Discovery == "" {
		return nil, nil
	}
	var out []Document
	for _, s := range sensors {
		id := sensorID(site, s.field)
		about := map[string]any{
			"name": s.name, "unique_id": id, "object_id": id, "icon": s.icon,
			"state_topic": q.Topic + "/" + site + "/tomorrow", "value_template": "{{ value_json." + s.field + " }}",
			"json_attributes_topic": q.Topic + "/" + site + "/tomorrow",
			"availability_topic":    q.statusTopic(),
			"expire_after":          silentAfter,
			"device":                map[string]any{"identifiers": []string{"thawline_" + site}, "name": name},
			"origin":                map[string]any{"name": "thawline"},
		}
		if s.class != "" {
			about["device_class"] = s.class
		}
		if s.unit != "" {
			about["unit_of_measurement"], about["state_class"] = s.unit, "measurement"
		}
		if s.field == yesOrNo {
			about["value_template"] = "{{ 'ON' if value_json." + s.field + " else 'OFF' }}"
		}
		body, err := json.Marshal(about)
		if err != nil {
			return nil, fmt.Errorf("describe %s: %w", s.field, err)
		}
		out = append(out, Document{q.configTopic(site, s.field), body})
	}
	return out, nil
}

func sensorID(site, field string) string {
	return "thawline_" + strings.ReplaceAll(site, "-", "_") + "_" + field
}

func (q *MQTT) configTopic(site, field string) string {
	component := "sensor"
	if field == yesOrNo {
		component = "binary_sensor"
	}
	return q.Discovery + "/" + component + "/" + sensorID(site, field) + "/config"
}

// statusTopic is where it stands whether a daemon is there.
func (q *MQTT) statusTopic() string { return q.Topic + "/status" }

// Clear takes away what the broker keeps of a site that is gone.
func (q *MQTT) Clear(ctx context.Context, site string) error {
	gone := []Document{{q.Topic + "/" + site + "/outlook", nil}, {q.Topic + "/" + site + "/tomorrow", nil},
		{q.Topic + "/" + site + "/alert", nil}}
	if q.Discovery != "" {
		for _, s := range sensors {
			gone = append(gone, Document{q.configTopic(site, s.field), nil})
		}
	}
	_, err := q.publish(ctx, gone...)
	return err
}
