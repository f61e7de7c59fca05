package hooks

import (
	"net/http/httptest"
	"strings"
	"testing"
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
