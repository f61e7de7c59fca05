package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"thawline/forecast/units"
)

// settingsFile decodes a settings file for viper. It keeps every value as it is
// written, so that an id 007 stays one and a number can be quoted back, keeps
// the line of each, and finds what does not fit the tree of settings. Its paths
// are viper's: "sites.0.groups.1.taps".
type settingsFile struct {
	name     string
	root     *setting // what may stand in it
	lines    map[string]int
	counts   map[string]int  // entries of each list of them
	spoiled  map[string]bool // paths already complained about
	problems []Problem
}

func newSettingsFile(name string, root *setting) *settingsFile {
	return &settingsFile{name: name, root: root, lines: map[string]int{}, counts: map[string]int{}, spoiled: map[string]bool{}}
}

// Encode completes viper's codec; settings are never written this way.
func (f *settingsFile) Encode(map[string]any) ([]byte, error) {
	return nil, errors.ErrUnsupported
}

// Decode fills in what can be read. What is wrong goes to problems, not to the
// error, so that the rest is still checked.
func (f *settingsFile) Decode(data []byte, into map[string]any) error {
	in := yaml.NewDecoder(bytes.NewReader(data))
	var document, second yaml.Node
	if err := in.Decode(&document); err != nil {
		if !errors.Is(err, io.EOF) {
			f.syntax(data, err)
		}
		return nil
	}
	if err := in.Decode(&second); err == nil {
		f.add(&second, "", "a second document begins here", "keep all settings in one, without a line of ---")
	} else if !errors.Is(err, io.EOF) {
		f.syntax(data, err)
	}
	if len(document.Content) == 0 || isNull(document.Content[0]) {
		return nil
	}
	if node := document.Content[0]; node.Kind != yaml.MappingNode {
		f.add(node, "", "the file is "+kindOf(node)+", not settings with names", "begin it with lines such as units: metric")
		f.spoiled[""] = true
	} else {
		f.section(node, f.root, "", nil, into)
	}
	return nil
}

func (f *settingsFile) add(node *yaml.Node, path, what, remedy string) {
	f.problems = append(f.problems, Problem{File: f.name, Line: node.Line, Key: shown(path), What: what, Remedy: remedy})
}

var (
	leadingTab  = regexp.MustCompile(`^ *\t`)
	yamlErrorAt = regexp.MustCompile(`^yaml: (line [0-9]+: )?`)
)

// syntax tells why a file is no YAML.
func (f *settingsFile) syntax(data []byte, err error) {
	f.spoiled[""] = true
	p := Problem{
		File: f.name, Line: firstUnreadable(data),
		What:   "not readable as YAML: " + yamlErrorAt.ReplaceAllString(err.Error(), ""),
		Remedy: "mend its spaces, quotes, colons or brackets",
	}
	for i, line := range strings.Split(string(data), "\n") {
		if leadingTab.MatchString(line) && strings.TrimSpace(line) != "" {
			p.Line, p.What, p.Remedy = i+1, "a tab at the start of the line", "indent with spaces"
			break
		}
	}
	f.problems = append(f.problems, p)
}

// firstUnreadable is the line after the longest beginning of the file that is
// YAML. The parser itself names the line on which the broken part began. It
// returns 0 for a file so long that trying takes too long.
func firstUnreadable(data []byte) int {
	const longestBytes = 1 << 16
	if len(data) > longestBytes {
		return 0
	}
	lines := bytes.SplitAfter(data, []byte("\n"))
	end := len(data)
	for n := len(lines); n > 0; n-- {
		end -= len(lines[n-1])
		if allYAML(data[:end]) {
			return n
		}
	}
	return 1
}

func allYAML(data []byte) bool {
	for in := yaml.NewDecoder(bytes.NewReader(data)); ; {
		var node yaml.Node
		if err := in.Decode(&node); err != nil {
			return errors.Is(err, io.EOF)
		}
	}
}

// section reads the settings below one key. words lead to it as environment
// variables spell them.
func (f *settingsFile) section(node *yaml.Node, s *setting, path string, words []string, into map[string]any) {
	first := map[string]int{}
	for i := 0; i+1 < len(node.Content); i += 2 {
		keyNode, value := node.Content[i], node.Content[i+1]
		if keyNode.Kind != yaml.ScalarNode || keyNode.Tag == "!!merge" {
			f.add(keyNode, path, "a key must be a plain word", "write one of "+strings.Join(s.inFile(), ", "))
			continue
		}
		key := keyNode.Value
		at := join(path, key)
		if line, twice := first[key]; twice {
			f.add(keyNode, at, fmt.Sprintf("given twice, first on line %d", line), "keep one of them")
			continue
		}
		first[key] = keyNode.Line
		known, allowed := s.find(key)
		switch {
		case allowed:
			f.lines[at] = keyNode.Line
			if read := f.value(value, known, at, extended(words, key)); read != nil {
				into[key] = read
			}
		case known != nil:
			f.inlineSecret(keyNode, s, path, words)
		default:
			f.unknown(keyNode, s, path, words)
		}
	}
}

var secretWords = regexp.MustCompile(`(?i)api_?key|phone|e_?mail|token|password|secret`)

func (f *settingsFile) unknown(keyNode *yaml.Node, s *setting, path string, words []string) {
	meant := units.Nearest(keyNode.Value, s.inFile())
	switch {
	case meant != "":
		f.spoiled[join(path, meant)] = true
		f.add(keyNode, join(path, keyNode.Value), "no such setting here", fmt.Sprintf("did you mean %q?", meant))
	case secretWords.MatchString(keyNode.Value):
		f.inlineSecret(keyNode, s, path, words)
	default:
		f.add(keyNode, join(path, keyNode.Value), "no such setting here", "known here: "+strings.Join(s.inFile(), ", "))
	}
}

// inlineSecret never repeats the value.
func (f *settingsFile) inlineSecret(keyNode *yaml.Node, s *setting, path string, words []string) {
	at := join(path, keyNode.Value)
	for _, u := range s.under {
		if u.shape == hidden && (strings.Contains(keyNode.Value, u.key) || units.Nearest(keyNode.Value, []string{u.key}) != "") {
			variable := envName(extended(words, u.key))
			f.add(keyNode, at, "a secret does not belong in the settings file",
				fmt.Sprintf("put it alone in a file and name that with %s%s, or set %s", u.key, fileSuffix, variable))
			f.spoiled[join(path, u.key)] = true
			return
		}
	}
	f.add(keyNode, at, "looks like a secret, and no setting here takes one", "take it out of the file")
}

// value reads what stands at one key: a string, a []any or a map[string]any,
// nil where it is empty or does not fit.
func (f *settingsFile) value(node *yaml.Node, s *setting, path string, words []string) any {
	if isNull(node) {
		return nil
	}
	misfit := func(remedy string) any {
		f.spoiled[path] = true
		f.add(node, path, kindOf(node)+" does not fit here", remedy)
		return nil
	}
	switch s.shape {
	case list:
		if node.Kind == yaml.ScalarNode {
			return splitList(node.Value)
		}
		if node.Kind != yaml.SequenceNode {
			return misfit("write a list, such as [a, b]")
		}
		return f.list(node, path)
	case section:
		if node.Kind != yaml.MappingNode {
			return misfit("write settings with names below it: " + strings.Join(s.inFile(), ", "))
		}
		into := map[string]any{}
		f.section(node, s, path, words, into)
		return into
	case entries:
		if node.Kind != yaml.SequenceNode {
			return misfit(`write a list, each entry beginning with "- id:"`)
		}
		return f.entries(node, s, path, words)
	default:
		if node.Kind != yaml.ScalarNode {
			return misfit("write one value")
		}
		return node.Value
	}
}

func (f *settingsFile) list(node *yaml.Node, path string) []any {
	out := []any{}
	for i, item := range node.Content {
		at := join(path, strconv.Itoa(i))
		if item.Kind != yaml.ScalarNode {
			f.add(item, at, kindOf(item)+" does not fit here", "write one value")
			continue
		}
		f.lines[join(path, strconv.Itoa(len(out)))] = item.Line
		out = append(out, item.Value)
	}
	return out
}

func (f *settingsFile) entries(node *yaml.Node, s *setting, path string, words []string) []any {
	f.counts[path] = len(node.Content)
	out := []any{}
	for i, item := range node.Content {
		at := join(path, strconv.Itoa(i))
		f.lines[at] = item.Line
		into := map[string]any{}
		if item.Kind == yaml.MappingNode {
			f.section(item, s, at, extended(words, entryWord(item)), into)
		} else {
			f.spoiled[at] = true
			f.add(item, at, kindOf(item)+" does not fit here", "write settings with names: "+strings.Join(s.inFile(), ", "))
		}
		out = append(out, into)
	}
	return out
}

// entryWord is the id of an entry, or what stands for it in advice where it has
// none.
func entryWord(entry *yaml.Node) string {
	for i := 0; i+1 < len(entry.Content); i += 2 {
		if v := entry.Content[i+1]; entry.Content[i].Value == "id" && v.Kind == yaml.ScalarNode && validID(v.Value) {
			return v.Value
		}
	}
	return "<ID>"
}

func isNull(node *yaml.Node) bool {
	return node.Kind == yaml.ScalarNode && node.Tag == "!!null"
}

func kindOf(node *yaml.Node) string {
	switch node.Kind {
	case yaml.SequenceNode:
		return "a list"
	case yaml.MappingNode:
		return "a group of settings"
	case yaml.AliasNode:
		return "an alias (*" + node.Value + ")"
	}
	return "a single value"
}

func splitList(s string) []any {
	out := []any{}
	for part := range strings.SplitSeq(s, ",") {
		if part = strings.TrimSpace(part); part != "" {
			out = append(out, part)
		}
	}
	return out
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

var indexInPath = regexp.MustCompile(`\.([0-9]+)(\.|$)`)

// shown writes a path as people read it: sites[0].groups[1].taps.
func shown(path string) string {
	return indexInPath.ReplaceAllString(path, "[$1]$2")
}
