package web

import (
	"compress/gzip"
	"html/template"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// A page whose pieces are put in as they were packed is for any reader of gzip (Go's, which
// checks sum and length by RFC 1952) the page that others are sent plain, with any piece
// where it belongs, and only there.
func TestPiecesStandWhereTheyBelong(t *testing.T) {
	long := template.HTML(strings.Repeat("<td>12.5</td>", 20000)) //nolint:gosec // a test
	for _, text := range []func(v *view) string{
		func(v *view) string {
			return "a" + string(v.hold(pieceOf(long, "en"))) + "b" + string(v.hold(pieceOf("<i>2</i>", "en"))) + "c"
		},
		func(v *view) string { return string(v.hold(pieceOf("", "en"))) + string(v.hold(pieceOf(long, "en"))) },
		func(v *view) string {
			return string(v.hold(pieceOf("<b>", "en"))) + "what somebody wrote: \x0e0\x0f \x0e1\x0f"
		},
	} {
		v := &view{}
		body := text(v)
		plain, packed := httptest.NewRecorder(), httptest.NewRecorder()
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		v.sendParted(plain, r, 200, body)
		r.Header.Set("Accept-Encoding", "br;q=1, gzip")
		v.sendParted(packed, r, 200, body)
		want := body
		for i, p := range v.pieces {
			want = strings.ReplaceAll(want, string((&view{pieces: make([]*piece, i)}).hold(nil)), p.html)
		}
		if plain.Body.String() != want || plain.Header().Get("Content-Encoding") != "" {
			t.Errorf("%.60q, want %.60q", plain.Body, want)
		}
		unpacked, err := gzip.NewReader(packed.Body)
		if err != nil || packed.Header().Get("Content-Encoding") != "gzip" {
			t.Fatal(err, packed.Header())
		}
		if got, err := io.ReadAll(unpacked); err != nil || string(got) != want {
			t.Errorf("%v, %.60q, want %.60q", err, got, want)
		}
	}
}

// A browser says what it takes as RFC 9110, 12.5.3, has it.
func TestWhoTakesGzip(t *testing.T) {
	for accepts, want := range map[string]bool{"": false, "gzip": true, "deflate, gzip;q=1.0, *;q=0.5": true, "br": false, "gzip;q=0": false,
		"gzip; q=0.000": false, "gzip;q=x": false, "xgzip": false} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.Header.Set("Accept-Encoding", accepts)
		if takesGzip(r) != want {
			t.Errorf("%q: %v", accepts, !want)
		}
	}
}

// What is kept of pictures has a bound, whoever looks at how many; what was looked at last
// stays. A picture is drawn again for other words, and for another outlook in the same words.
func TestPicturesAreKeptWithinABound(t *testing.T) {
	var d drawn
	v := &view{Lang: "en"}
	one, other := new(int), new(int)
	times := 0
	draw := func() *picture {
		times++
		return &picture{Figures: template.HTML(strings.Repeat("x", mostDrawn/10))} //nolint:gosec // a test
	}
	for _, c := range []struct {
		key, lang string
		of        *int
		want      int
	}{{"a", "en", one, 1}, {"a", "en", one, 1}, {"a", "fr", one, 2}, {"b", "en", one, 3}, {"a", "en", other, 4}, {"a", "en", other, 4},
		{"a", "fr", one, 4}} {
		v.Lang = c.lang
		if p := d.once(v, c.key, []any{c.of}, draw); p == nil || times != c.want {
			t.Errorf("%+v: drawn %d times", c, times)
		}
	}
	for i := range 100 {
		d.once(v, strings.Repeat("k", i+2), []any{one}, draw)
		d.once(v, "a", []any{one}, draw)
		sum := 0
		for _, k := range d.kept {
			sum += k.bytes()
		}
		if sum != d.bytes || sum > mostDrawn {
			t.Fatalf("%d bytes are kept, %d counted, %d at most", sum, d.bytes, mostDrawn)
		}
	}
	if times != 104 {
		t.Errorf("drawn %d times: what is looked at is let go of", times)
	}
	huge := func() *picture { return &picture{Figures: template.HTML(strings.Repeat("x", mostDrawn+1))} } //nolint:gosec // a test
	if p := d.once(v, "huge", []any{one}, huge); p == nil || d.bytes > mostDrawn || d.kept["huge"] != nil {
		t.Error("a picture above the bound is kept")
	}
	if p := d.once(v, "none", nil, func() *picture { return nil }); p != nil {
		t.Error("a picture of nothing")
	}
}
