package main

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"thawline/cmd/thawline/internal/app"
	"thawline/cmd/thawline/internal/cli"
	"thawline/testdata/beside"
)

const oneBush = `
weather: {contact: a@example.org}
sites:
  - {id: hill, latitude: 44.2, longitude: -72.8, elevation: 400 m, zone: America/New_York, groups: [{id: south, taps: 50, collected_by: pail, container: 8 L}]}
people: [{id: robin, name: Robin, role: keeper}]
`

// While a daemon has the records open nobody puts others in their place: what it
// writes afterwards would be lost.
func TestRestoreWaitsForTheDaemon(t *testing.T) {
	config, data := written(t, "c.yaml", oneBush), t.TempDir()
	env := map[string]string{"THAWLINE_DATA_DIR": data, "THAWLINE_SERVE_LISTEN": beside.FreePort(t),
		"THAWLINE_WEATHER_NWS_BASE_URL": "http://127.0.0.1:9", "THAWLINE_WEATHER_MET_NORWAY_BASE_URL": "http://127.0.0.1:9",
		"THAWLINE_WEATHER_ENVIRONMENT_CANADA_BASE_URL": "http://127.0.0.1:9"}
	backup := filepath.Join(t.TempDir(), "copy.db")
	if _, err := run(t, env, "db", "backup", backup, "--config", config); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	root, log, ended := rootCommand(), &lockedBuffer{}, make(chan error, 1)
	root.SetErr(log)
	root.SetOut(io.Discard)
	root.SetArgs([]string{"serve", "--config", config})
	go func() { ended <- root.ExecuteContext(ctx) }()
	waitFor(t, "the daemon", func() bool { return strings.Contains(log.String(), "msg=watching") })
	if _, err := run(t, env, "records", "add", "--volume", "8L", "--config", config); err != nil {
		t.Errorf("beside the daemon: %v", err)
	}
	if _, err := run(t, env, "db", "restore", backup, "--config", config); err == nil || !strings.Contains(err.Error(), "stop it") {
		t.Errorf("restored under a daemon: %v", err)
	}
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if out, err := run(t, env, "records", "list", "--config", config); err != nil || !strings.Contains(out, "hill") &&
		!strings.Contains(out, "south") {
		t.Errorf("%v\n%s", err, out)
	}
	if _, err := run(t, env, "db", "restore", backup, "--config", config); err != nil {
		t.Error(err)
	}
}

// A copy that is cut short or empty changes nothing, and leaves nothing behind; with
// the records in PostgreSQL there is no file to restore.
func TestRestoreRefuses(t *testing.T) {
	config, data := written(t, "c.yaml", oneBush), t.TempDir()
	env := map[string]string{"THAWLINE_DATA_DIR": data}
	backup := filepath.Join(t.TempDir(), "copy.db")
	for _, args := range [][]string{{"records", "add", "--volume", "8L"}, {"db", "backup", backup}} {
		if _, err := run(t, env, append(args, "--config", config)...); err != nil {
			t.Fatal(err)
		}
	}
	whole, err := os.ReadFile(backup)
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"cut": string(whole[:len(whole)/2]), "empty": ""} {
		if _, err := run(t, env, "db", "restore", written(t, name+".db", text), "--config", config); err == nil ||
			!strings.Contains(err.Error(), "this copy is damaged, nothing was changed") {
			t.Errorf("%s: %v", name, err)
		}
	}
	files, err := os.ReadDir(data)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		if strings.Contains(f.Name(), "restored") || strings.Contains(f.Name(), "before") {
			t.Errorf("%s was left", f.Name())
		}
	}
	env["THAWLINE_DATABASE"] = "postgres://a:b@127.0.0.1:1/x"
	if _, err := run(t, env, "db", "restore", backup, "--config", config); err == nil || !strings.Contains(err.Error(), "PostgreSQL") {
		t.Error(err)
	}
}

// A copy of a file that was not closed is restored with what lies in its log.
func TestRestoreTakesTheLogAlong(t *testing.T) {
	config, data := written(t, "c.yaml", oneBush), t.TempDir()
	env := map[string]string{"THAWLINE_DATA_DIR": data}
	t.Setenv("THAWLINE_DATA_DIR", data)
	settings, err := (&cli.Globals{ConfigFile: config}).Settings()
	if err != nil {
		t.Fatal(err)
	}
	a, err := app.OpenArchive(t.Context(), settings)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := run(t, env, "records", "add", "--volume", "8L", "--note", "in the log", "--config", config); err != nil {
		t.Fatal(err)
	}
	copied := filepath.Join(t.TempDir(), "copy.db")
	for _, tail := range []string{"", "-wal"} {
		if err := copyFile(filepath.Join(data, app.ArchiveFile)+tail, copied+tail); err != nil {
			t.Fatal(err)
		}
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	env["THAWLINE_DATA_DIR"] = t.TempDir()
	if _, err := run(t, env, "db", "restore", copied, "--config", config); err != nil {
		t.Fatal(err)
	}
	if out, err := run(t, env, "records", "list", "--config", config); err != nil || !strings.Contains(out, "in the log") {
		t.Errorf("%v\n%s", err, out)
	}
}
