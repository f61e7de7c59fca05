package config

import (
	"regexp"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
)

// uncommented is the example with every setting in it set.
func uncommented() string {
	var lines []string
	for line := range strings.SplitSeq(Example, "\n") {
		if bare := strings.TrimLeft(line, " "); strings.HasPrefix(bare, "# ") && commentedSetting(strings.TrimLeft(bare[2:], " ")) {
			line = strings.Replace(line, "# ", "", 1)
		}
		lines = append(lines, line)
	}
	return strings.Join(lines, "\n")
}

func commentedSetting(s string) bool {
	key, _, found := strings.Cut(strings.TrimPrefix(s, "- "), ":")
	return found && !strings.ContainsAny(key, " ()")
}

// given are the values of a document, by paths without numbers of entries.
func given(node *yaml.Node, path string, into map[string][]*yaml.Node) {
	switch node.Kind {
	case yaml.DocumentNode:
		given(node.Content[0], path, into)
	case yaml.MappingNode:
		for i := 0; i+1 < len(node.Content); i += 2 {
			at := join(path, node.Content[i].Value)
			into[at] = append(into[at], node.Content[i+1])
			given(node.Content[i+1], at, into)
		}
	case yaml.SequenceNode:
		for _, n := range node.Content {
			given(n, path, into)
		}
	}
}

// bounds every service has; the example shows them at one.
var bounds = regexp.MustCompile(`^weather\.[a-z_]+\.(per_second|per_day)$`)

// Every row of the table stands in the example at its own place, with the value that the
// table gives, so that people find it; and nothing stands there that the table does not
// know.
func TestExampleShowsEverySetting(t *testing.T) {
	var document yaml.Node
	if err := yaml.Unmarshal([]byte(uncommented()), &document); err != nil {
		t.Fatal(err)
	}
	shown, known := map[string][]*yaml.Node{}, map[string]bool{}
	given(&document, "", shown)
	var every func(rows []setting, path string)
	every = func(rows []setting, path string) {
		for i := range rows {
			u := &rows[i]
			at := join(path, u.key)
			if u.shape == hidden {
				at += fileSuffix
			}
			known[at] = true
			if u.past {
				if shown[at] != nil {
					t.Errorf("%s has no effect, and is offered", at)
				}
				continue
			}
			here := shown[bounds.ReplaceAllString(at, "weather.nws.$1")]
			if here == nil && at != "channels.json" { // which does not go with form

				t.Errorf("%s is not in the example", at)
			}
			if u.shape == section || u.shape == entries {
				every(u.under, at)
				continue
			}
			if u.example == "" && !strings.HasPrefix(at, "channels.") { // whose keys other kinds may show
				t.Errorf("%s has no example", at)
			}
			if u.example != "" && !strings.Contains(uncommented(),
				u.key+map[bool]string{true: fileSuffix}[u.shape == hidden]+": "+u.example) {
				t.Errorf("%s: the example does not show %q", at, u.example)
			}
		}
	}
	every(root.under, "")
	for _, k := range channelKinds {
		every(k.rows, "channels")
	}
	for at := range shown {
		if !known[at] {
			t.Errorf("%s is in the example alone", at)
		}
	}
}

// Every kind of channel takes the rows that it has.
func TestEveryKindOfChannelTakesItsRows(t *testing.T) {
	examples := map[string]string{}
	for _, u := range channelRows() {
		examples[u.key] = strings.Trim(u.example, `"`)
	}
	for _, k := range channelKinds {
		doc := good + "\nchannels:\n  - {id: x, kind: " + k.Name
		for _, u := range k.rows {
			if u.shape != hidden && u.key != "json" {
				doc += ", " + u.key + ": '" + examples[u.key] + "'"
			}
		}
		if _, err := Load(write(t, doc+"}\n"), []string{"THAWLINE_CHANNELS_X_SECRET=whsec_c2VjcmV0"}); err != nil {
			t.Errorf("%v\n%s", err, doc)
		}
	}
}
