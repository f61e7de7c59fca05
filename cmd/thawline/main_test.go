package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"thawline/cmd/thawline/internal/cli"
)

// Tests speak English, whoever runs them.
func init() {
	for _, name := range []string{"LC_ALL", "LC_MESSAGES", "LANG"} {
		_ = os.Unsetenv(name)
	}
}

// The language of a command is that of --lang, else of the settings, else that of
// whoever works there.
func TestLanguageOfCommands(t *testing.T) {
	silent := written(t, "c.yaml", oneBush)
	spoken := written(t, "c.yaml", "language: en\n"+oneBush)
	boil := func(config string, more ...string) []string {
		return append([]string{"boil", "--sap", "400L", "--brix", "2", "--pressure", "985hPa", "--config", config}, more...)
	}
	for name, c := range map[string]struct {
		env    map[string]string
		args   []string
		french bool
	}{
		"LANG":                   {map[string]string{"LANG": "fr_CA.UTF-8"}, boil(silent), true},
		"LC_ALL before LANG":     {map[string]string{"LANG": "fr_CA.UTF-8", "LC_ALL": "C"}, boil(silent), false},
		"another language":       {map[string]string{"LANG": "de_DE.UTF-8"}, boil(silent), false},
		"settings before LANG":   {map[string]string{"LANG": "fr_CA.UTF-8"}, boil(spoken), false},
		"--lang before settings": {nil, boil(spoken, "--lang", "fr_CA"), true},
		"a region":               {nil, boil(spoken, "--lang", "fr-CA"), true},
		"the demonstration":      {map[string]string{"LC_MESSAGES": "fr_CA.UTF-8"}, []string{"demo", "--chart", t.TempDir()}, true},
	} {
		t.Run(name, func(t *testing.T) {
			out, err := run(t, c.env, c.args...)
			if err != nil || (strings.Contains(out, "litres d'eau") || strings.Contains(out, "Texto")) != c.french {
				t.Errorf("%v\n%s", err, out)
			}
		})
	}
}

// Without a name the settings are those of the working folder.
func TestSettingsOfTheWorkingFolder(t *testing.T) {
	t.Chdir(t.TempDir())
	if err := os.WriteFile("thawline.yaml", []byte(oneBush), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := run(t, nil, "records", "add", "--volume", "8L"); err != nil {
		t.Error(err)
	}
	if _, err := run(t, map[string]string{"THAWLINE_CONFIG": "none.yaml"}, "records", "list"); err == nil ||
		!strings.Contains(err.Error(), "none.yaml: no such file") {
		t.Error(err)
	}
}

func TestCommandLinesThatCannotBeMeant(t *testing.T) {
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"bakctest"}, `did you mean "backtest"?`},
		{[]string{"what"}, "no such command"},
		{[]string{"demo", "--serve", "127.0.0.1:18940"}, "--serve=127.0.0.1:18940"},
		{[]string{"demo", "x"}, "one word too many"},
		{[]string{"forecast", "--at", "44.2 N, 72.8 W", "--taps", "5", "--container", "7L", "--elevation", "9500m"},
			"no land lies at that height"},
	} {
		var wrong *cli.UsageError
		if _, err := run(t, nil, c.args...); !errors.As(err, &wrong) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%v: %v", c.args, err)
		}
	}
	for _, args := range [][]string{{"--help", "--lang", "fr"}, {"--lang", "fr", "--help"}, {"--lang", "fr"}} {
		if out, err := run(t, nil, args...); err != nil || !strings.Contains(out, "Tous les jours") {
			t.Errorf("%v: %v\n%s", args, err, out)
		}
	}
}

// Exit codes, as scripts see them.
func TestExitCodes(t *testing.T) {
	binary := filepath.Join(t.TempDir(), "thawline")
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", binary, ".").CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	for code, args := range map[int]string{0: "boil --sap 400L", 1: "db restore /none --config /none.yaml", 2: "forecast --tap 5"} {
		cmd := exec.CommandContext(t.Context(), binary, strings.Fields(args)...)
		_ = cmd.Run()
		if got := cmd.ProcessState.ExitCode(); got != code {
			t.Errorf("thawline %s ends with %d, not %d", args, got, code)
		}
	}
}
