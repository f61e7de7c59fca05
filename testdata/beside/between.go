package beside

import (
	"encoding/binary"
	"io"
	"net"
	"net/url"
	"sync"
	"sync/atomic"
	"testing"
)

// Between stands between programs and a PostgreSQL server: it counts the round trips that
// they make, and can be away as the server would be.
type Between struct {
	Address string // to connect to

	trips  atomic.Int64
	server string
	listen net.Listener

	mu    sync.Mutex
	away  bool
	conns map[net.Conn]bool
}

// NewBetween stands before the server of an address until the test ends.
func NewBetween(t testing.TB, address string) *Between {
	t.Helper()
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	b := &Between{server: u.Host, conns: map[net.Conn]bool{}}
	if b.listen, err = net.Listen("tcp", "127.0.0.1:0"); err != nil {
		t.Fatal(err)
	}
	u.Host = b.listen.Addr().String()
	q := u.Query()
	q.Set("sslmode", "disable")
	u.RawQuery = q.Encode()
	b.Address = u.String()
	go b.accept()
	t.Cleanup(func() { _ = b.listen.Close(); b.SetAway(true) })
	return b
}

// Trips are the round trips so far: each ends with the server being ready for the next.
func (b *Between) Trips() int64 { return b.trips.Load() }

// SetAway lets the server be away, as if it were stopped, or come back.
func (b *Between) SetAway(away bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.away = away
	if !away {
		return
	}
	for c := range b.conns {
		_ = c.Close()
	}
	clear(b.conns)
}

func (b *Between) accept() {
	for {
		from, err := b.listen.Accept()
		if err != nil {
			return
		}
		to, err := net.Dial("tcp", b.server)
		b.mu.Lock()
		if b.away || err != nil {
			b.mu.Unlock()
			_ = from.Close()
			if err == nil {
				_ = to.Close()
			}
			continue
		}
		b.conns[from], b.conns[to] = true, true
		b.mu.Unlock()
		go func() { _, _ = io.Copy(to, from); _ = to.Close() }()
		go func() { b.back(from, to); _ = from.Close() }()
	}
}

// back passes on what the server says, message by message.
func (b *Between) back(to io.Writer, from io.Reader) {
	var head [5]byte
	for {
		if _, err := io.ReadFull(from, head[:]); err != nil {
			return
		}
		body := make([]byte, binary.BigEndian.Uint32(head[1:])-4)
		if _, err := io.ReadFull(from, body); err != nil {
			return
		}
		if head[0] == 'Z' {
			b.trips.Add(1)
		}
		if _, err := to.Write(append(head[:], body...)); err != nil {
			return
		}
	}
}
