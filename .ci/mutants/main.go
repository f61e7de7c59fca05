// Command mutants puts faults into a copy of this tree, one by one, and runs the
// tests that should see them. The list has one fault a line:
//
//	file | what stands there | what is put in its place | packages to test
//
// It ends with 1 if a fault goes unseen, or if a line fits no place any more.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

const longest = 5 * time.Minute

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "name the list of faults")
		os.Exit(2)
	}
	unseen, err := run(os.Args[1])
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	if unseen > 0 {
		os.Exit(1)
	}
}

func run(list string) (unseen int, err error) {
	text, err := os.ReadFile(list)
	if err != nil {
		return 0, err
	}
	parent, err := os.MkdirTemp("", "mutants")
	if err != nil {
		return 0, err
	}
	defer os.RemoveAll(parent)
	tree := filepath.Join(parent, "tree")
	if out, err := exec.Command("cp", "-r", ".", tree).CombinedOutput(); err != nil {
		return 0, fmt.Errorf("copy the tree: %w %s", err, out)
	}
	if out, err := tested(tree, []string{"./forecast/...", "./alerts/...", "./cmd/..."}); err != nil {
		return 0, fmt.Errorf("without any fault the tests fail already: %w %s", err, out)
	}
	count := 0
	for i, line := range strings.Split(string(text), "\n") {
		if strings.TrimSpace(line) == "" || strings.HasPrefix(line, "#") {
			continue
		}
		parts := strings.Split(line, " | ")
		if len(parts) != 4 {
			return 0, fmt.Errorf("%s:%d: write file | from | to | packages", list, i+1)
		}
		count++
		verdict, err := try(tree, parts[0], parts[1], parts[2], strings.Fields(parts[3]))
		if err != nil {
			return 0, fmt.Errorf("%s:%d: %w", list, i+1, err)
		}
		if verdict == "UNSEEN" {
			unseen++
		}
		fmt.Printf("%-8s %s: %s -> %s\n", verdict, parts[0], parts[1], parts[2])
	}
	fmt.Printf("%d faults, %d unseen\n", count, unseen)
	return unseen, nil
}

func try(tree, file, from, to string, packages []string) (verdict string, err error) {
	path := filepath.Join(tree, file)
	whole, err := os.ReadFile(path)
	if err != nil {
		return "", err
	}
	from, to = strings.ReplaceAll(from, `\n`, "\n"), strings.ReplaceAll(to, `\n`, "\n")
	if !strings.Contains(string(whole), from) {
		return "", fmt.Errorf("%s: no %q there", file, from)
	}
	if err := os.WriteFile(path, []byte(strings.Replace(string(whole), from, to, 1)), 0o600); err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, os.WriteFile(path, whole, 0o600)) }()
	build := exec.Command("go", append([]string{"vet"}, packages...)...)
	build.Dir = tree
	if out, err := build.CombinedOutput(); err != nil && !strings.Contains(string(out), "self-assignment") {
		return "", fmt.Errorf("%s: with this fault it does not build: %s", file, out)
	}
	switch _, err := tested(tree, packages); {
	case errors.Is(err, context.DeadlineExceeded):
		return "", fmt.Errorf("%s: with this fault the tests do not end within %s", file, longest)
	case err == nil:
		return "UNSEEN", nil
	}
	return "seen", nil
}

// tested runs the quick tests of packages.
func tested(tree string, packages []string) (out []byte, err error) {
	ctx, cancel := context.WithTimeout(context.Background(), longest)
	defer cancel()
	test := exec.CommandContext(ctx, "go", append([]string{"test", "-short"}, packages...)...)
	test.Dir = tree
	out, err = test.CombinedOutput()
	if ctx.Err() != nil {
		err = ctx.Err()
	}
	return out, err
}
