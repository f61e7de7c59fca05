package archive

import (
	"slices"
	"testing"
)

// Each table that is kept is said to be whose: a new one is given and forgotten, or said
// here to be nobody's.
func TestEveryTableIsSomebodys(t *testing.T) {
	nobodys := []string{"weather_day", "weather_change", "kept_value", "web_session", "entry_once", "service_budget", "bulletin", "engine_pace",
		"member", "member_change", "member_count"}
	for _, table := range tables {
		owned := slices.ContainsFunc(keeps, func(k keep) bool { return k.table == table.name })
		if owned == slices.Contains(nobodys, table.name) {
			t.Errorf("%s: in keeps %v, said to be nobody's %v", table.name, owned, !owned)
		}
	}
	for _, k := range keeps {
		if k.ofSites == "" && k.ofPerson == "" {
			t.Errorf("%s has rows of nobody", k.table)
		}
	}
}
