package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

// switches is what a package with faults has beside its own: FAULT names the one that is
// there. It costs no more than a comparison, so that tests take as long as without.
const switches = `package %s

import (
	"os"
	"strconv"
)

var faultHere = func() int {
	if i, err := strconv.Atoi(os.Getenv("FAULT")); err == nil {
		return i
	}
	return -1
}()

func faultOn(i int) bool { return i == faultHere }
`

// records has the same package write down which faults are reached, instead: FAULT_RECORD
// names the file.
const records = `package %s

import (
	"os"
	"strconv"
	"sync/atomic"
)

var faultSeen [%d]atomic.Bool

func faultOn(i int) bool { return !faultSeen[i].Load() && faultReached(i) }

func faultReached(i int) bool {
	if faultSeen[i].Swap(true) {
		return false
	}
	if to := os.Getenv("FAULT_RECORD"); to != "" {
		f, err := os.OpenFile(to, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
		if err != nil {
			panic(err)
		}
		_, _ = f.WriteString(strconv.Itoa(i) + " ")
		_ = f.Close()
	}
	return false
}
`

// changes are the places that are no conditions.
const changes = `
type faultWhole interface {
	~int | ~int8 | ~int16 | ~int32 | ~int64 | ~uint | ~uint8 | ~uint16 | ~uint32 | ~uint64 | ~uintptr
}
type faultNumber interface {
	faultWhole | ~float32 | ~float64
}

func faultADD[T faultNumber](i int, a, b T) T { if faultOn(i) { return a - b }; return a + b }
func faultSUB[T faultNumber](i int, a, b T) T { if faultOn(i) { return a + b }; return a - b }
func faultMUL[T faultNumber](i int, a, b T) T { if faultOn(i) { return a / b }; return a * b }
func faultQUO[T faultNumber](i int, a, b T) T { if faultOn(i) { return a * b }; return a / b }
func faultREM[T faultWhole](i int, a, b T) T { if faultOn(i) { return a * b }; return a % b }
func faultNeg[T faultNumber](i int, a T) T { if faultOn(i) { return a }; return -a }
func faultOne[T faultNumber](i int, _ T) T { if faultOn(i) { var none T; return none - 1 }; return 1 }
func faultSign[T faultNumber](i int, _, b T) T { if faultOn(i) { return -b }; return b }
`

// rewrite writes the files of a package with all faults, and what go build is told of them:
// records.json to see which are reached, overlay.json to have one.
func (r *run) rewrite(temp string) error {
	fset := token.NewFileSet()
	entries, err := filepath.Glob(filepath.Join(r.dir, "*.go"))
	if err != nil {
		return err
	}
	var files []*ast.File
	var names []string
	sources := map[string][]byte{}
	for _, name := range entries {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		text, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		f, err := parser.ParseFile(fset, name, text, parser.ParseComments)
		if err != nil {
			return err
		}
		files, names, sources[name] = append(files, f), append(names, name), text
	}
	if len(files) == 0 {
		return errors.New("no Go files")
	}
	info := types.Info{Types: map[ast.Expr]types.TypeAndValue{}}
	config := types.Config{Importer: importer.ForCompiler(fset, "gc", exports(r.dir)), Error: func(error) {}}
	if _, err := config.Check(r.dir, fset, files, &info); err != nil {
		return fmt.Errorf("types: %w", err)
	}
	replace := map[string]string{}
	for i, f := range files {
		w := writer{run: r, fset: fset, info: &info, file: names[i], text: sources[names[i]]}
		ast.Inspect(f, w.look)
		to := filepath.Join(temp, fmt.Sprintf("%d.go", i))
		if err := os.WriteFile(to, w.whole(), 0o600); err != nil {
			return err
		}
		at, err := filepath.Abs(names[i])
		if err != nil {
			return err
		}
		replace[at] = to
	}
	name := files[0].Name.Name
	seen := fmt.Sprintf(records, name, max(len(r.faults), 1)) + changes
	if err := overlay(r.dir, seen, replace, filepath.Join(temp, "records.json")); err != nil {
		return err
	}
	return overlay(r.dir, fmt.Sprintf(switches, name)+changes, replace, filepath.Join(temp, "overlay.json"))
}

// overlay writes what go build is told of a package whose files are replaced, and of one more.
func overlay(dir, more string, replace map[string]string, to string) error {
	helper := strings.TrimSuffix(to, ".json") + "_switches.go"
	if err := os.WriteFile(helper, []byte(more), 0o600); err != nil {
		return err
	}
	at, err := filepath.Abs(filepath.Join(dir, "zz_fault_switches.go"))
	if err != nil {
		return err
	}
	replace[at] = helper
	text, err := json.Marshal(map[string]any{"Replace": replace})
	if err != nil {
		return err
	}
	return os.WriteFile(to, text, 0o600)
}

// exports finds what the packages that one imports offer.
func exports(dir string) func(path string) (io.ReadCloser, error) {
	found := map[string]string{}
	out, err := exec.Command("go", "list", "-export", "-deps", "-f", "{{.ImportPath}}={{.Export}}", "./"+dir).Output()
	for _, line := range strings.Fields(string(out)) {
		path, file, _ := strings.Cut(line, "=")
		found[path] = file
	}
	return func(path string) (io.ReadCloser, error) {
		if err != nil {
			return nil, fmt.Errorf("go list: %w", err)
		}
		return os.Open(found[path])
	}
}

// edit is a change of the text between two places.
type edit struct {
	at, end int
	text    string
}

// writer collects the changes of one file.
type writer struct {
	run   *run
	fset  *token.FileSet
	info  *types.Info
	file  string
	text  []byte
	edits []edit
}

func (w *writer) offset(p token.Pos) int { return w.fset.Position(p).Offset }

func (w *writer) source(n ast.Node) string {
	return string(w.text[w.offset(n.Pos()):w.offset(n.End())])
}

func (w *writer) fault(at token.Pos, what string) int {
	line := w.fset.Position(at).Line
	w.run.faults = append(w.run.faults, fault{file: w.file, line: line,
		text: strings.TrimSpace(strings.Split(string(w.text), "\n")[line-1]), what: what})
	return len(w.run.faults) - 1
}

func (w *writer) put(at token.Pos, text string) {
	w.edits = append(w.edits, edit{w.offset(at), w.offset(at), text})
}
func (w *writer) over(from, to token.Pos, text string) {
	w.edits = append(w.edits, edit{w.offset(from), w.offset(to), text})
}

// whole is the file with all changes.
func (w *writer) whole() []byte {
	slices.SortStableFunc(w.edits, func(a, b edit) int { return a.at - b.at })
	var out strings.Builder
	last := 0
	for _, e := range w.edits {
		out.Write(w.text[last:e.at])
		out.WriteString(e.text)
		last = e.end
	}
	out.Write(w.text[last:])
	return []byte(out.String())
}

var (
	negated = map[token.Token]token.Token{token.EQL: token.NEQ, token.NEQ: token.EQL, token.LSS: token.GEQ, token.GEQ: token.LSS,
		token.GTR: token.LEQ, token.LEQ: token.GTR}
	moved = map[token.Token]token.Token{token.LSS: token.LEQ, token.LEQ: token.LSS, token.GTR: token.GEQ, token.GEQ: token.GTR}
	other = map[token.Token]token.Token{token.ADD: token.SUB, token.SUB: token.ADD, token.MUL: token.QUO, token.QUO: token.MUL,
		token.REM: token.MUL, token.ADD_ASSIGN: token.SUB_ASSIGN, token.SUB_ASSIGN: token.ADD_ASSIGN}
	called = map[token.Token]string{token.ADD: "ADD", token.SUB: "SUB", token.MUL: "MUL", token.QUO: "QUO", token.REM: "REM"}
)

// look puts switches around a place that can have a fault. What is around others comes
// first where it begins and last where it ends: insertions keep the order of the walk.
func (w *writer) look(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.GenDecl:
		return n.Tok != token.CONST && n.Tok != token.IMPORT && n.Tok != token.TYPE
	case *ast.BinaryExpr:
		if w.info.Types[n].Value != nil {
			return false
		}
		w.binary(n)
	case *ast.UnaryExpr:
		if w.info.Types[n].Value == nil && n.Op == token.SUB && w.number(n) {
			w.over(n.Pos(), n.X.Pos(), fmt.Sprintf("faultNeg(%d, ", w.fault(n.Pos(), "- -> +")))
			w.after(n, ")")
		}
	case *ast.IncDecStmt:
		sign, was, is := "+=", "++", "--"
		if n.Tok == token.DEC {
			sign, was, is = "-=", "--", "++"
		}
		w.over(n.X.End(), n.End(), fmt.Sprintf(" %s faultOne(%d, %s)", sign, w.fault(n.TokPos, was+" -> "+is), w.source(n.X)))
	case *ast.AssignStmt:
		if (n.Tok == token.ADD_ASSIGN || n.Tok == token.SUB_ASSIGN) && w.number(n.Lhs[0]) {
			w.put(n.Rhs[0].Pos(), fmt.Sprintf("faultSign(%d, %s, ", w.fault(n.TokPos, n.Tok.String()+" -> "+other[n.Tok].String()),
				w.source(n.Lhs[0])))
			w.after(n.Rhs[0], ")")
		}
	}
	return true
}

func (w *writer) binary(n *ast.BinaryExpr) {
	x, y := w.source(n.X), w.source(n.Y)
	switch {
	case negated[n.Op] != 0:
		begin, end := "(", fmt.Sprintf(") != faultOn(%d))", w.fault(n.OpPos, n.Op.String()+" -> "+negated[n.Op].String()))
		if to := moved[n.Op]; to != 0 {
			end += fmt.Sprintf(" != (faultOn(%d) && (%s) == (%s)))", w.fault(n.OpPos, n.Op.String()+" -> "+to.String()), x, y)
			begin += "("
		}
		w.put(n.Pos(), begin+"(")
		w.after(n, end)
	case n.Op == token.LAND || n.Op == token.LOR:
		to := token.LAND
		if n.Op == token.LAND {
			to = token.LOR
		}
		i := w.fault(n.OpPos, n.Op.String()+" -> "+to.String())
		w.put(n.Pos(), fmt.Sprintf("(faultOn(%d) && ((%s) %s (%s)) || !faultOn(%d) && (", i, x, to, y, i))
		w.after(n, "))")
	case called[n.Op] != "" && w.number(n):
		w.put(n.Pos(), fmt.Sprintf("fault%s(%d, ", called[n.Op], w.fault(n.OpPos, n.Op.String()+" -> "+other[n.Op].String())))
		w.over(n.X.End(), n.Y.Pos(), ", ")
		w.after(n, ")")
	}
}

// after puts a text behind a node, before what nodes around it put there.
func (w *writer) after(n ast.Node, text string) {
	at := w.offset(n.End())
	w.edits = append([]edit{{at, at, text}}, w.edits...)
}

// number reports whether an expression is a number that can be added.
func (w *writer) number(e ast.Expr) bool {
	b, ok := w.info.TypeOf(e).Underlying().(*types.Basic)
	return ok && b.Info()&(types.IsInteger|types.IsFloat) != 0
}
