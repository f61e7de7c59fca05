// Command sbom prints what a binary is made of, as the Go linker wrote it into it, as a
// CycloneDX 1.5 document: the same bytes for the same binary.
package main

import (
	"debug/buildinfo"
	"encoding/json"
	"fmt"
	"os"
	"strings"
)

type property struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

type component struct {
	Type       string     `json:"type"`
	Name       string     `json:"name"`
	Version    string     `json:"version"`
	PURL       string     `json:"purl,omitempty"`
	Properties []property `json:"properties,omitempty"`
}

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(args []string) error {
	if len(args) != 2 {
		return fmt.Errorf("name a binary and its version")
	}
	info, err := buildinfo.ReadFile(args[0])
	if err != nil {
		return err
	}
	parts := []component{{Type: "platform", Name: "go", Version: strings.TrimPrefix(info.GoVersion, "go")}}
	for _, m := range info.Deps {
		if m.Replace != nil {
			m = m.Replace
		}
		c := component{Type: "library", Name: m.Path, Version: m.Version, PURL: "pkg:golang/" + m.Path + "@" + m.Version}
		if m.Sum != "" {
			c.Properties = []property{{"go:sum", m.Sum}} // a hash over its files' hashes, as in go.sum
		}
		parts = append(parts, c)
	}
	out := json.NewEncoder(os.Stdout)
	out.SetIndent("", " ")
	return out.Encode(map[string]any{
		"bomFormat": "CycloneDX", "specVersion": "1.5", "version": 1,
		"metadata":   map[string]any{"component": component{Type: "application", Name: "thawline", Version: args[1]}},
		"components": parts,
	})
}
