package message

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// errorsFrom are the packages whose errors people read: on a terminal, in the check, on a
// page, in an answer.
var errorsFrom = []string{"cmd/thawline", "cmd/thawline/internal/cli", "cmd/thawline/internal/app", "cmd/thawline/internal/auth",
	"cmd/thawline/internal/setup", "cmd/thawline/internal/intake", "config", "alerts/channel", "alerts/message",
	"forecast/archive", "forecast/boil", "forecast/records", "forecast/table", "forecast/units", "forecast/weather",
	"forecast/weather/source"}

// saysWrong are the functions that are given the words of an error.
var saysWrong = map[string]bool{"Errorf": true, "New": true, "WrongUse": true, "fail": true, "wrong": true, "Fail": true, "bad": true,
	"refuse": true, "NeedsMore": true, "warn": true}

// Whatever English error somebody can meet is said in French too, each of its parts.
func TestErrorsInFrench(t *testing.T) {
	books, err := phraseBooks()
	if err != nil {
		t.Fatal(err)
	}
	french := books["fr"]
	seen := 0
	for _, dir := range errorsFrom {
		files, err := filepath.Glob(filepath.Join("../..", dir, "*.go"))
		if err != nil || len(files) == 0 {
			t.Fatalf("%s: %v", dir, err)
		}
		for _, path := range files {
			if strings.HasSuffix(path, "_test.go") {
				continue
			}
			for _, said := range errorsIn(t, path) {
				seen++
				for line := range strings.SplitSeq(verb.ReplaceAllString(said, "7"), "\n") {
					for _, part := range french.missing(strings.TrimSpace(line)) {
						t.Errorf("%s: nobody says in French: %s", path, part)
					}
				}
			}
		}
	}
	if seen < 250 {
		t.Errorf("looked at %d errors only", seen)
	}
}

var (
	verb     = regexp.MustCompile(`%(\[\d+\])?[-+#.\d]*[a-z]`)
	wordsOf  = regexp.MustCompile(`\p{L}{2,}`)
	quotedIn = regexp.MustCompile(`"[^"]*"|--[a-z]+`)
)

// missing are the parts of an error that a language does not have: what, why, remedy.
func (b *phraseBook) missing(text string) []string {
	if _, known := b.find(text); known || !strings.Contains(text, " ") ||
		len(wordsOf.FindAllString(quotedIn.ReplaceAllString(text, ""), -1)) < 2 {
		return nil
	}
	if place, what, found := strings.Cut(text, ": "); found && inFile.MatchString(place) {
		if _, known := b.find(what); known {
			return nil
		}
	}
	for _, by := range []string{"; ", ": "} {
		if first, rest, found := strings.Cut(text, by); found {
			return append(b.missing(first), b.missing(rest)...)
		}
	}
	return []string{text}
}

// errorsIn are the texts that a file makes errors of, with "%v" where something else is
// filled in.
func errorsIn(t *testing.T, path string) (out []string) {
	t.Helper()
	file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	ast.Inspect(file, func(n ast.Node) bool {
		call, ok := n.(*ast.CallExpr)
		if !ok {
			return true
		}
		name := ""
		switch f := call.Fun.(type) {
		case *ast.SelectorExpr:
			name = f.Sel.Name
		case *ast.Ident:
			name = f.Name
		}
		if saysWrong[name] {
			for _, arg := range call.Args {
				if text := textOf(arg); strings.Contains(text, " ") {
					out = append(out, text)
				}
			}
		}
		return true
	})
	return out
}

func textOf(e ast.Expr) string {
	switch x := e.(type) {
	case *ast.BasicLit:
		if text, err := strconv.Unquote(x.Value); err == nil && x.Kind == token.STRING {
			return text
		}
	case *ast.BinaryExpr:
		return textOf(x.X) + textOf(x.Y)
	}
	return "%v"
}
