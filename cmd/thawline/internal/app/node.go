package app

import (
	"errors"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"github.com/google/uuid"

	"thawline/config"
)

// nodeID names this daemon among those that share a database: machine, address and
// an id of its own, for machines made from one image have one name. It stays the
// same after a restart.
func nodeID(c *config.Config, log *slog.Logger) string {
	host, err := os.Hostname()
	if err != nil {
		host = "unknown"
	}
	id, err := idIn(filepath.Join(c.DataDir, "daemon-id"))
	if err != nil { // a new one each time: what it had in hand waits until its lease has run out
		log.Warn("the id of this daemon can't be kept: after a restart it takes minutes to go on with its work; let it write to data_dir", "error", err)
	}
	return host + " " + c.Serve.Listen + " " + id
}

// idIn reads an id from a file, or makes one and keeps it there. The id can be used
// even where it can't be kept.
func idIn(path string) (string, error) {
	data, err := os.ReadFile(path)
	if id := strings.TrimSpace(string(data)); err == nil && id != "" {
		return id, nil
	}
	id := uuid.NewString()
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return id, err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return id, err
	}
	return id, os.WriteFile(path, []byte(id+"\n"), 0o600)
}
