package message

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Spaces of French by the Office québécois de la langue française (from memory): none before a
// semicolon, an exclamation or a question mark, one that doesn't break before a colon, within
// quotation marks, and between figure and unit. Forms, programs, addresses and what is copied
// stay as they are.
func TestTied(t *testing.T) {
	for _, c := range []struct{ tag, page, want string }{
		{"fr", "<p>À ramasser : 40 litres, 2,1 % « Nord »</p>", "<p>À ramasser\u00a0: 40\u00a0litres, 2,1\u00a0% «\u00a0Nord\u00a0»</p>"},
		{"fr-CA", "<p>demain de 10 h 30 à 18 h, 5 °C</p>", "<p>demain de 10\u00a0h\u00a030 à 18\u00a0h, 5\u00a0°C</p>"},
		{"fr", "dès 5 heures, 3 hommes, 12 gros", "dès 5 heures, 3 hommes, 12 gros"},
		{"fr", "12 h", "12\u00a0h"},
		{"fr", "Lac-aux-Loups: ça coule, https://bush.example.org:8787, 12:30", "Lac-aux-Loups\u00a0: ça coule, https://bush.example.org:8787, 12:30"},
		{"fr", `<input value="a : 4 L"><option>Nord : 4 L</option><textarea>Nord : 4 L</textarea>`,
			`<input value="a : 4 L"><option>Nord : 4 L</option><textarea>Nord : 4 L</textarea>`},
		{"fr", `<script>a ? b : c</script><code>haut 4 L</code><b>a :</b>`, "<script>a ? b : c</script><code>haut 4 L</code><b>a\u00a0:</b>"},
		{"fr", `<td>Vu : oui</td><td><q translate="no">Lac: Gather 4 L from 8 am: now</q></td>`,
			"<td>Vu\u00a0: oui</td><td><q translate=\"no\">Lac: Gather 4 L from 8 am: now</q></td>"},
		{"en", "<p>Gather : 40 litres at 5 °C, 2.1 %</p>", "<p>Gather : 40 litres at 5\u00a0°C, 2.1\u00a0%</p>"},
	} {
		if got := Tied(c.page, c.tag); got != c.want {
			t.Errorf("%s %q: %q, want %q", c.tag, c.page, got, c.want)
		}
	}
}

// French catalogues are typed with plain spaces, and with none before ; ! and ?: pages tie what
// belongs together, and a space that doesn't break would make text messages dearer in other
// alphabets and searches for words fail.
func TestFrenchIsTypedWithPlainSpaces(t *testing.T) {
	var files []string
	for _, pattern := range []string{"words/*fr.toml", "phrases/*.fr.toml"} {
		found, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, found...)
	}
	if len(files) < 20 {
		t.Fatalf("%d French files", len(files))
	}
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for i, line := range strings.Split(string(data), "\n") {
			for _, sign := range []string{"\u00a0", "\u202f", `\u00a0`, `\u202f`, " ;", " !", " ?"} {
				if strings.Contains(line, sign) && !strings.HasPrefix(line, "#") {
					t.Errorf("%s:%d: %q in %s", file, i+1, sign, line)
				}
			}
		}
	}
}
