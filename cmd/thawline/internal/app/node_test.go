package app

import (
	"log/slog"
	"os"
	"path/filepath"
	"testing"

	"thawline/config"
)

// Two machines of one name that listen at one address are two daemons; each is the
// same after a restart, and has a name where nothing can be written as well.
func TestHoldersAreTold(t *testing.T) {
	at := func(dir string) string {
		return nodeID(&config.Config{DataDir: dir, Serve: config.Serve{Listen: "127.0.0.1:8080"}}, slog.New(slog.DiscardHandler))
	}
	here, there := filepath.Join(t.TempDir(), "data"), t.TempDir()
	if first, again := at(here), at(here); first != again {
		t.Error("another one after a restart")
	}
	if at(here) == at(there) {
		t.Error("two machines are taken for one")
	}
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	nowhere := filepath.Join(file, "data")
	if first, again := at(nowhere), at(nowhere); first == again {
		t.Error("two that can't keep an id are taken for one")
	}
	if err := os.WriteFile(filepath.Join(there, "daemon-id"), nil, 0o600); err != nil { // cut short while it was written
		t.Fatal(err)
	}
	if first, again := at(there), at(there); first != again {
		t.Error("an empty file is kept")
	}
}
