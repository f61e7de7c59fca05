package inbound

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"thawline/forecast/units"
)

func TestWhatIsSeenInTheBush(t *testing.T) {
	l, _ := spoken(t, Table)
	for _, c := range []struct {
		text   string
		system units.System
		want   string // kinds with figures in °C, group, clock, day
	}{
		{"low 24", units.US, "low -4.44"},
		{"Low 24 F", units.Metric, "low -4.44"},
		{"24 low", units.US, "low -4.44"},
		{"low -4", units.Metric, "low -4.00"},
		{"low -4 C", units.US, "low -4.00"},
		{"low −4°", units.Metric, "low -4.00"},
		{"low was 24 degrees", units.US, "low -4.44"},
		{"high 41 F", units.Metric, "high 5.00"},
		{"high 41°F", units.Metric, "high 5.00"},
		{"low 24 high 41", units.US, "low -4.44, high 5.00"},
		{"24 low, 41 high", units.US, "low -4.44, high 5.00"},
		{"low 24 last night", units.US, "low -4.44 day 0"},
		{"low 24 yesterday", units.US, "low -4.44 day -1"},
		{"low 24 Tuesday", units.US, "low -4.44 on Tuesday"},
		{"min -4", units.Metric, "low -4.00"},
		{"min moins 4", units.Metric, "low -4.00"},
		{"Minimum -4,5", units.Metric, "low -4.50"},
		{"max 5 °c", units.US, "high 5.00"},
		{"min -4 max 6", units.Metric, "low -4.00, high 6.00"},
		{"min -4 hier", units.Metric, "low -4.00 day -1"},
		{"drips", units.US, "dripping NaN"},
		{"It's dripping!", units.US, "dripping NaN"},
		{"sap is running", units.US, "dripping NaN"},
		{"north half full", units.US, "half_full NaN of north"},
		{"half full north", units.US, "half_full NaN of north"},
		{"three quarters full at noon", units.US, "three_quarters_full NaN at 12"},
		{"hardly any", units.US, "hardly_any NaN"},
		{"nearly full", units.US, "brim_full NaN"},
		{"seaux pleins à ras bord", units.Metric, "brim_full NaN"},
		{"north à moitié pleins", units.Metric, "half_full NaN of north"},
		{"au quart", units.Metric, "quarter_full NaN"},
		{"no drip", units.US, "not_dripping NaN"},
		{"not dripping", units.US, "not_dripping NaN"},
		{"no drip north", units.US, "not_dripping NaN of north"},
		{"North slope drips", units.US, "dripping NaN of north"},
		{"not dripping at noon", units.US, "not_dripping NaN at 12"},
		{"drips 2 pm", units.US, "dripping NaN at 14"},
		{"coule", units.Metric, "dripping NaN"},
		{"Ça coule!", units.Metric, "dripping NaN"},
		{"coule pas", units.Metric, "not_dripping NaN"},
		{"ça ne coule pas à 14 h 30", units.Metric, "not_dripping NaN at 14.5"},
		{"coule pas hier midi", units.Metric, "not_dripping NaN at 12 day -1"},
	} {
		u := l.Understand(c.text, two, c.system)
		var said []string
		for i := range u.Seen {
			said = append(said, fmt.Sprintf("%s %.2f", u.Seen[i].Kind, u.Seen[i].TemperatureC))
		}
		got := strings.Join(said, ", ")
		if len(u.Seen) > 0 && u.Seen[0].Group != "" {
			got += " of " + u.Seen[0].Group
		}
		if !math.IsNaN(u.Clock) && len(u.Seen) > 0 {
			got += fmt.Sprintf(" at %g", u.Clock)
		}
		if u.Ahead != nil {
			got += fmt.Sprintf(" day %d", *u.Ahead)
		}
		if u.Until != nil {
			got += " on " + u.Until.String()
		}
		if got != c.want {
			t.Errorf("%q: %s %s %q, want %s", c.text, got, u.Kind, u.Unclear, c.want)
		}
	}
}

// What is a record, a question or another wish is no observation; what is not clear is
// asked back.
func TestWhatIsNotSeenInTheBush(t *testing.T) {
	l, _ := spoken(t, Table)
	for _, c := range []struct {
		text    string
		groups  []Group
		kind    Kind
		unclear string
	}{
		{"north 40 gal", two, Collected, ""}, {"low 24", []Group{{"low", "Low bush"}, {"up", "Up"}}, Collected, ""},
		{"dripping?", two, Question, "observed"}, {"is it dripping?", two, Question, "group"},
		{"tomorrow", two, Tomorrow, ""}, {"sap 120 L", two, SapLeft, ""}, {"no", two, No, ""}, {"low", two, Question, "observed"},
		{"low 24 L", two, Question, "observed"}, {"low 24 25", two, Question, "observed"},
		{"low high 24", two, Question, "observed"}, {"drips no drip", two, Question, "observed"},
		{"drips 40", two, Question, "observed"}, {"low 24 drips", two, Question, "observed"}, {"low about 24", two, Question, "observed"},
		{"low 1,200", two, Question, "number"}, {"Liked “it drips”", two, Seen, ""}, {"can't yesterday", two, Question, "group"},
	} {
		u := l.Understand(c.text, c.groups, units.US)
		if u.Kind != c.kind || u.Unclear != c.unclear || u.Seen != nil {
			t.Errorf("%q: %s %q, %d seen, want %s %q", c.text, u.Kind, u.Unclear, len(u.Seen), c.kind, c.unclear)
		}
	}
}
