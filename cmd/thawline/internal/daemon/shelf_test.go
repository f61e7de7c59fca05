package daemon

import (
	"context"
	"path/filepath"
	"testing"
	"time"
)

// An older daemon's outlook names the driest hours for sugar by their beginning alone:
// they are no span, and not shown as one.
func TestOlderOutlooksHaveNoSpansForSugar(t *testing.T) {
	site, truth := hill(t)
	now := time.Date(2015, 3, 9, 12, 0, 0, 0, time.UTC)
	d := started(t, filepath.Join(t.TempDir(), "d.db"), settings(site, &oracle{truth: truth, place: site.Place}, nil), now)
	older := map[string]any{"site": site.ID, "issued_at": now, "sugar": []map[string]any{
		{"date": "2015-03-10", "from": now.Add(24 * time.Hour), "humidity_pct": 41, "dew_point_c": -3, "grade": "dry"},
	}}
	if err := d.Archive.PutOutlook(context.Background(), site.ID, now, now, older); err != nil {
		t.Fatal(err)
	}
	o := d.Outlook(context.Background(), site.ID)
	if o == nil || !o.IssuedAt.Equal(now) {
		t.Fatalf("not the older daemon's outlook: %+v", o)
	}
	if len(o.Sugar) > 0 {
		t.Errorf("%+v", o.Sugar)
	}
}
