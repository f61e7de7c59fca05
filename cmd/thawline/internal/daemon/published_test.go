package daemon

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/alerts"
	"thawline/alerts/channel"
	"thawline/alerts/message"
)

// readBy is a bush with a keeper who reads English and a viewer who reads French,
// settings in French, and its feeds.
func readBy(t *testing.T, now time.Time) (d *Daemon, feed string, log *bytes.Buffer) {
	t.Helper()
	s := evenSettings("")
	s.Channels = map[string]channel.Channel{"text": &recorder{}}
	s.Usual.Language = "fr"
	s.People = s.People[:2]
	s.People[1].Role, s.People[1].Reader.Language = "viewer", "fr"
	d = started(t, filepath.Join(t.TempDir(), "d.db"), s, now)
	log = &bytes.Buffer{}
	d.Log = slog.New(slog.NewTextHandler(log, nil))
	server := httptest.NewServer(hooksOf(d).Handler(func() time.Time { return now }))
	t.Cleanup(server.Close)
	address, err := Address(context.Background(), d.Ledger, "feed", "bush")
	if err != nil {
		t.Fatal(err)
	}
	return d, server.URL + "/f/" + address, log
}

func tells(t *testing.T, d *Daemon, kind alerts.Kind, key, site string, now time.Time) {
	t.Helper()
	one := d.settings.Sites[0]
	one.ID = site
	decision := alerts.Decision{Kind: kind, Site: site, Key: key, Until: now.Add(6 * time.Hour)}
	if err := d.record(context.Background(), &one, decision, now,
		func(w *message.Words) string { return string(kind) + " in " + w.Language() }); err != nil {
		t.Fatal(err)
	}
}

// The news are what concerns the bush, each once, in the language of the settings;
// what was said to one person is nobody else's.
func TestNewsAreWhatConcernsTheBush(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	d, feed, _ := readBy(t, now)
	tells(t, d, alerts.Evening, "evening:1", "bush", now)
	tells(t, d, alerts.Danger, "danger:1", "bush", now.Add(time.Second))
	tells(t, d, alerts.StaleFeed, "stale_feed:1", "bush", now.Add(2*time.Second))
	if err := d.heard(context.Background(), &d.settings.Sites[0], &d.settings.People[0], "STOP", "1", now.Add(3*time.Second)); err != nil {
		t.Fatal(err)
	}
	for i := range 300 { // of other bushes
		tells(t, d, alerts.Evening, fmt.Sprint("evening:", i), "other", now.Add(time.Hour))
	}
	status, text := get(t, feed+"/news.atom")
	if status != http.StatusOK || strings.Count(text, "<entry>") != 2 || strings.Count(text, ">evening in fr</title>") != 1 ||
		strings.Count(text, ">danger in en</title>") != 1 {
		t.Errorf("%d %s", status, text)
	}
	if list, err := d.Ledger.RecentOf(context.Background(), []string{"bush", "elsewhere"}, 100); err != nil || len(list) != 5 {
		t.Errorf("%v %d messages about the bush", err, len(list))
	}
	if list, err := d.Ledger.RecentOf(context.Background(), nil, 100); err != nil || len(list) != 0 {
		t.Errorf("%v %d messages about nothing", err, len(list))
	}
}

// No warning is nothing to be logged of, and a warning is in the words of its
// language.
func TestWarningInItsLanguage(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	d, feed, log := readBy(t, now)
	if status, text := get(t, feed+"/warning.cap"); status != http.StatusNotFound || log.Len() > 0 {
		t.Errorf("%d %s %s", status, text, log)
	}
	d.settings.People[1].Role = "keeper"
	tells(t, d, alerts.Danger, "danger:1", "bush", now)
	status, text := get(t, feed+"/warning.cap")
	if status != http.StatusOK || !strings.Contains(text, "<language>fr</language>") ||
		!strings.Contains(text, "<event>Danger</event>") || !strings.Contains(text, "danger in fr") {
		t.Errorf("%d %s", status, text)
	}
	tells(t, d, alerts.Overflow, "overflow:1", "bush", now.Add(time.Minute))
	if _, text := get(t, feed+"/warning.cap"); !strings.Contains(text, "<event>Débordement</event>") {
		t.Error(text)
	}
}

// Strangers who try addresses do not reach the database: what addresses are made
// with is read once.
func TestKeyOfAddressesIsReadOnce(t *testing.T) {
	now := time.Date(2026, 3, 9, 15, 0, 0, 0, time.UTC)
	d, feed, _ := readBy(t, now)
	if _, err := d.Archive.DB().ExecContext(context.Background(), "DROP TABLE kept_value"); err != nil {
		t.Fatal(err)
	}
	if status, text := get(t, feed+"/calendar.ics"); status != http.StatusOK {
		t.Errorf("%d %s", status, text)
	}
}
