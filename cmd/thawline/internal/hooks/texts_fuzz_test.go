package hooks

import (
	"bytes"
	"encoding/json"
	"net/http/httptest"
	"strings"
	"testing"
	"unicode/utf8"
)

// FuzzUnderstand reads whatever a gateway may call with: it is understood or not, and what
// comes of it is no longer than what came in.
func FuzzUnderstand(f *testing.F) {
	for _, s := range [][2]string{
		{"application/x-www-form-urlencoded", "From=%2B18025550101&Body=40+gal&MessageSid=1"},
		{"application/json", `{"from":"+18025550101","text":"40 gal","id":"1"}`},
		{"application/json", `{"from":18025550101,"text":["40 gal"],"message":{"id":"1"}}`},
		{"application/json; charset=utf-8", `[{"sender":"x"}]`},
		{"multipart/form-data; boundary=x", "--x\r\nContent-Disposition: form-data; name=\"text\"\r\n\r\nok\r\n--x--"},
		{"", "%zz=%"}, {"application/json", `{"text":"\ud800\u0000"}`},
	} {
		f.Add(s[0], s[1])
	}
	f.Fuzz(func(t *testing.T, kind, body string) {
		r := httptest.NewRequest("POST", "/in/x", strings.NewReader(body))
		r.Header.Set("Content-Type", kind)
		texts, _, _ := understand(httptest.NewRecorder(), r, nil)
		for _, in := range texts {
			if n := len(in.from) + len(in.text) + len(in.id); n > 3*longestCallBack { // a bad letter becomes three
				t.Errorf("%d bytes out of %d", n, len(body))
			}
		}
	})
}

// FuzzShapes names any places for number and words, and calls with a document that has them
// there: what stands there is heard, word for word, and nothing that stands elsewhere.
func FuzzShapes(f *testing.F) {
	for _, s := range [][4]string{
		{"who", "what", "+18025550101", "40 gal"}, {"a.from", "a.text", "1", "OK"}, {"data.x.y", "data.x.z", "+1", "\u00e9rables \U0001f341"},
		{"from", "text", "2", " STOP "}, {"a", "a.b", "1", "x"}, {"..", ".", "1", "x"}, {"A.B", "a.c", "1", "\x00\ud7ff"},
	} {
		f.Add(s[0], s[1], s[2], s[3])
	}
	f.Fuzz(func(t *testing.T, fromAt, textAt, number, words string) {
		fromAt, textAt = strings.ToLower(fromAt), strings.ToLower(textAt)
		number, words = strings.ToValidUTF8(number, ""), strings.ToValidUTF8(words, "")
		document := map[string]any{"note": "of no use", "sender": "+19995550000", "text": "another's words"}
		if fromAt == textAt || !put(document, fromAt, number) || !put(document, textAt, words) || valueAt(document, fromAt) != number {
			t.Skip("one stands where the other does")
		}
		body, err := json.Marshal(document)
		if err != nil || len(body) > longestCallBack {
			t.Skip("longer than a call-back may be")
		}
		r := httptest.NewRequest("POST", "/in/x", bytes.NewReader(body))
		r.Header.Set("Content-Type", "application/json")
		texts, _, err := understand(httptest.NewRecorder(), r, []Shape{{From: []string{fromAt}, Text: []string{textAt}}})
		if err != nil {
			t.Fatalf("%s: %v", body, err)
		}
		if strings.TrimSpace(number) == "" || strings.TrimSpace(words) == "" {
			return // the usual places count then
		}
		if len(texts) != 1 || texts[0].from != strings.TrimSpace(number) || texts[0].text != strings.TrimSpace(words) {
			t.Errorf("%s: heard %q, want %q from %q", body, texts, words, number)
		}
	})
}

// put puts a value into a document below the names of a path; false where something else
// stands there.
func put(document map[string]any, path, value string) bool {
	names := strings.Split(path, ".")
	for _, name := range names[:len(names)-1] {
		below, is := document[name].(map[string]any)
		if document[name] != nil && !is || !named(name) {
			return false
		}
		if below == nil {
			below = map[string]any{}
			document[name] = below
		}
		document = below
	}
	last := names[len(names)-1]
	if _, is := document[last].(map[string]any); is || !named(last) {
		return false
	}
	document[last] = value
	return true
}

// named is true of a name that means the same in small letters, and as JSON writes it.
func named(name string) bool {
	return name != "" && utf8.ValidString(name) && !strings.ContainsRune(name, utf8.RuneError) && strings.ToLower(name) == name
}

func valueAt(document map[string]any, path string) any {
	var value any = document
	for name := range strings.SplitSeq(path, ".") {
		below, _ := value.(map[string]any)
		value = below[name]
	}
	return value
}
