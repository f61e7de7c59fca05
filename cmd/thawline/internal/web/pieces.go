package web

import (
	"bytes"
	"compress/flate"
	"crypto/rand"
	"encoding/binary"
	"hash/crc32"
	"html/template"
	"io"
	"net/http"
	"strconv"
	"strings"
	"sync"
)

// piece is a large part of a page that is made once and shown until what it is made of
// changes: settled, and the same compressed for those who take it so.
type piece struct {
	html   string
	packed []byte // raw deflate (RFC 1951), whole blocks up to a byte's end, none of them the last
}

func pieceOf(html template.HTML, lang string) *piece {
	p := &piece{html: written(string(html), lang)}
	p.packed = packed(p.html)
	return p
}

// packed is a text as deflate blocks that know of no text before it.
func packed(text string) []byte {
	var b bytes.Buffer
	w, _ := packers.Get().(*flate.Writer)
	defer packers.Put(w)
	w.Reset(&b)
	_, _ = io.WriteString(w, text)
	_ = w.Flush() // to a buffer: neither can fail
	return b.Bytes()
}

// packers are kept since one takes longer to make than most texts to pack.
var packers = sync.Pool{New: func() any {
	w, _ := flate.NewWriter(nil, packedAt) // the level is one that there is
	return w
}}

// packedAt is how hard pages are compressed: as hard as pays on a slow machine.
const packedAt = 5

// placeMark is where a piece stands in the text of a page. Nobody who writes something that a
// page shows knows it.
var placeMark = "\x0e" + rand.Text()

// hold puts a piece at a place of the page.
func (v *view) hold(p *piece) template.HTML {
	v.pieces = append(v.pieces, p)
	return template.HTML(placeMark + strconv.Itoa(len(v.pieces)-1) + "\x0f") //nolint:gosec // a mark, not what somebody wrote
}

// parted is a page's text and the pieces in it, in order: every second one is a piece.
func (v *view) parted(text string) (texts []string, between []*piece) {
	for {
		before, after, found := strings.Cut(text, placeMark)
		texts = append(texts, written(before, v.Lang))
		if !found {
			return texts, between
		}
		number, rest, _ := strings.Cut(after, "\x0f")
		if i, err := strconv.Atoi(number); err == nil && i < len(v.pieces) {
			between = append(between, v.pieces[i])
		} else {
			between = append(between, &piece{})
		}
		text = rest
	}
}

// sendParted writes a page with its pieces, compressed where the browser takes it: packed
// pieces are put between the rest as they are.
func (v *view) sendParted(w http.ResponseWriter, r *http.Request, status int, text string) {
	texts, between := v.parted(text)
	if !takesGzip(r) {
		w.WriteHeader(status)
		for i, t := range texts {
			_, _ = io.WriteString(w, t)
			if i < len(between) {
				_, _ = io.WriteString(w, between[i].html)
			}
		}
		return
	}
	w.Header().Set("Content-Encoding", "gzip")
	w.Header().Add("Vary", "Accept-Encoding")
	w.WriteHeader(status)
	_, _ = w.Write(gzipHead)
	sum, size := uint32(0), uint32(0)
	count := func(t string) {
		sum, size = crc32.Update(sum, crc32.IEEETable, []byte(t)), size+uint32(len(t)) //nolint:gosec // modulo 2^32, as RFC 1952 has it
	}
	for i, t := range texts {
		count(t)
		_, _ = w.Write(packed(t))
		if i < len(between) {
			count(between[i].html)
			_, _ = w.Write(between[i].packed)
		}
	}
	end := binary.LittleEndian.AppendUint32(bytes.Clone(lastBlock), sum)
	_, _ = w.Write(binary.LittleEndian.AppendUint32(end, size))
}

var (
	// RFC 1952: gzip's own signs, deflate, no name, no time, no system.
	gzipHead = []byte{0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 255}
	// RFC 1951: an empty block by the fixed code, the last.
	lastBlock = []byte{0x03, 0x00}
)

// takesGzip reports whether a browser takes what is compressed by gzip.
func takesGzip(r *http.Request) bool {
	for one := range strings.SplitSeq(r.Header.Get("Accept-Encoding"), ",") {
		name, quality, _ := strings.Cut(one, ";")
		if strings.TrimSpace(name) == "gzip" {
			_, q, given := strings.Cut(quality, "=")
			worth, err := strconv.ParseFloat(strings.TrimSpace(q), 64)
			return !given || err == nil && worth > 0
		}
	}
	return false
}

// drawn are pictures that were drawn lately. One stands for what it was drawn from: the same
// words of the key and the very same things.
type drawn struct {
	mu    sync.Mutex
	kept  map[string]*keptPicture
	bytes int
	uses  int
}

type keptPicture struct {
	of                    []any // pointers, which holding them keeps from being given to something else
	picture               *picture
	wide, narrow, figures *piece
	used                  int // the higher, the later
}

func (k *keptPicture) bytes() (n int) {
	for _, p := range []*piece{k.wide, k.narrow, k.figures} {
		n += len(p.html) + len(p.packed)
	}
	return n
}

// mostDrawn is how many bytes of pictures are kept at hand: those of thirty seasons in both
// sizes, with all figures, are some 400 kB.
const mostDrawn = 2 << 20

// once draws a picture, or takes it from those that were drawn in the same words of the same
// things. Nothing of who looks may be in it that key does not say.
func (d *drawn) once(v *view, key string, of []any, draw func() *picture) *picture {
	key += " " + v.Lang + " " + string(v.system) + " " + v.reader.Second
	d.mu.Lock()
	kept := d.kept[key]
	if kept != nil && same(kept.of, of) {
		d.uses++
		kept.used = d.uses
		d.mu.Unlock()
		return kept.on(v)
	}
	d.mu.Unlock()
	fresh := draw()
	if fresh == nil {
		return nil
	}
	kept = &keptPicture{of: of, picture: fresh, wide: pieceOf(fresh.Wide, v.Lang), narrow: pieceOf(fresh.Narrow, v.Lang),
		figures: pieceOf(fresh.Figures, v.Lang)}
	d.keep(key, kept)
	return kept.on(v)
}

func same(a, b []any) bool {
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return len(a) == len(b)
}

// on is the picture for one page.
func (k *keptPicture) on(v *view) *picture {
	p := *k.picture
	p.Wide, p.Narrow, p.Figures = v.hold(k.wide), v.hold(k.narrow), v.hold(k.figures)
	return &p
}

// keep keeps a picture, and lets go of those that nobody has looked at for longest.
func (d *drawn) keep(key string, k *keptPicture) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.kept == nil {
		d.kept = map[string]*keptPicture{}
	}
	d.drop(key)
	if k.bytes() > mostDrawn {
		return
	}
	d.uses++
	k.used = d.uses
	d.kept[key] = k
	for d.bytes += k.bytes(); d.bytes > mostDrawn; {
		oldest := key
		for other, one := range d.kept {
			if one.used < d.kept[oldest].used {
				oldest = other
			}
		}
		d.drop(oldest)
	}
}

// drop lets go of a picture. The lock is held.
func (d *drawn) drop(key string) {
	if one := d.kept[key]; one != nil {
		d.bytes -= one.bytes()
		delete(d.kept, key)
	}
}
