package main

import (
	"bytes"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"testing"
)

// What is handed on holds no key, no password, nobody's number and no address but the
// examples of RFC 2606 and of the numbering plan's fiction (555-01xx).
func TestNothingSecretIsKept(t *testing.T) {
	secret := regexp.MustCompile(`-----BEGIN [A-Z ]*PRIVATE KEY|\bwhsec_[A-Za-z0-9+/]{16,}|\b(?:ghp|gho|glpat|xox[bp])[-_][A-Za-z0-9]{16,}|\bAKIA[A-Z0-9]{16}\b|\$argon2id\$`)
	number := regexp.MustCompile(`\+[0-9][0-9 ().-]{8,}[0-9]`)
	mail := regexp.MustCompile(`[A-Za-z0-9._%+-]+@([A-Za-z0-9.-]+\.[A-Za-z]{2,})`)
	example := regexp.MustCompile(`(?i)(^|\.)example(\.(org|com|net))?$|\.(invalid|test|local)$`)
	fiction := regexp.MustCompile(`55501|555-01|5550`)
	for _, root := range []string{"../../deploy", "../../testdata", "../../config/example.yaml", "../../README.md", "../../DEVELOPERS.md"} {
		err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || filepath.Ext(path) == ".png" {
				return err
			}
			text, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			if m := secret.Find(text); m != nil {
				t.Errorf("%s: %.12s…", path, m)
			}
			for line := range bytes.Lines(text) {
				if m := number.Find(line); m != nil && !fiction.Match(m) && !bytes.Contains(line, []byte("T")) {
					t.Errorf("%s: a number: %s", path, m)
				}
				for _, m := range mail.FindAllSubmatch(line, -1) {
					if !example.Match(m[1]) {
						t.Errorf("%s: an address: %s", path, m[0])
					}
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}
