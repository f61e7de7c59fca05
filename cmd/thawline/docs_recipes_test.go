package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

var (
	withRun  = regexp.MustCompile("`([^`\n]*-run [^`\n]+)`")
	testFunc = regexp.MustCompile(`(?m)^func ((?:Test|Benchmark|Fuzz)[A-Za-z0-9_]+)\(`)
)

// Each test that DEVELOPERS.md names by a pattern is in one of the packages beside it: a
// recipe whose guard is gone would pass for good.
func TestRecipesNameTestsThatAre(t *testing.T) {
	t.Chdir("../..")
	page, err := os.ReadFile("DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	commands := 0
	for _, m := range withRun.FindAllStringSubmatch(string(page), -1) {
		packages, pattern := packagesAndPattern(m[1])
		if len(packages) == 0 { // said a few words before
			continue
		}
		commands++
		var names []string
		for _, dir := range packages {
			files, err := filepath.Glob(filepath.Join(dir, "*_test.go"))
			if err != nil || len(files) == 0 {
				t.Errorf("DEVELOPERS.md: %s: there are no tests in %s (%v)", m[1], dir, err)
			}
			for _, file := range files {
				text, err := os.ReadFile(file)
				if err != nil {
					t.Fatal(err)
				}
				for _, f := range testFunc.FindAllStringSubmatch(string(text), -1) {
					names = append(names, f[1])
				}
			}
		}
		for _, one := range strings.Split(pattern, "|") {
			if is, err := regexp.Compile(one); err != nil || !is.MatchString(strings.Join(names, " ")) {
				t.Errorf("DEVELOPERS.md: %s: no test is called %s: name one that there is, or its package (%v)", m[1], one, err)
			}
		}
	}
	if commands < 10 {
		t.Errorf("only %d commands with a pattern were found", commands)
	}
}

// packagesAndPattern are the folders that a go test is for, and what its -run matches.
func packagesAndPattern(args string) (packages []string, pattern string) {
	fields := strings.Fields(args)
	for i, f := range fields {
		switch {
		case strings.HasPrefix(f, "./") && f != "./...":
			packages = append(packages, f)
		case i > 0 && fields[i-1] == "-run":
			pattern = strings.Trim(f, "'")
		}
	}
	return packages, pattern
}
