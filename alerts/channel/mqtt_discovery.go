package channel

import (
	"encoding/json"
	"fmt"
	"strings"
)

// sensor is one figure of the document Topic/site/tomorrow.
type sensor struct {
	field, name, unit, icon string
}

var sensors = []sensor{
	{"run_chance_pct", "Chance of a run tomorrow", "%", "mdi:water-percent"},
	{"sap_l", "Sap expected tomorrow", "L", "mdi:cup-water"},
	{"low_c", "Low tomorrow", "°C", "mdi:thermometer-low"},
	{"high_c", "High tomorrow", "°C", "mdi:thermometer-high"},
}

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
		id := "thawline_" + strings.ReplaceAll(site, "-", "_") + "_" + s.field
		body, err := json.Marshal(map[string]any{
			"name": s.name, "unique_id": id, "object_id": id, "icon": s.icon,
			"state_topic": q.Topic + "/" + site + "/tomorrow", "value_template": "{{ value_json." + s.field + " }}",
			"json_attributes_topic": q.Topic + "/" + site + "/tomorrow",
			"unit_of_measurement":   s.unit, "state_class": "measurement", "expire_after": silentAfter,
			"device": map[string]any{"identifiers": []string{"thawline_" + site}, "name": name},
			"origin": map[string]any{"name": "thawline"},
		})
		if err != nil {
			return nil, fmt.Errorf("describe %s: %w", s.field, err)
		}
		out = append(out, Document{q.Discovery + "/sensor/" + id + "/config", body})
	}
	return out, nil
}
