package app

import (
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"thawline/config"
	"thawline/forecast/archive"
)

// Who opens connections without asking anything fills a share of the room and no more.
func TestHalfOpenConnectionsLeaveRoom(t *testing.T) {
	at := func(address string) net.Addr {
		a, err := net.ResolveTCPAddr("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	r := withRoom(nil)
	let := func(address string) bool { _, room := r.enter(at(address)); return room }
	count := func(many int, address func(i int) string) (in int) {
		for i := range many {
			if let(address(i)) {
				in++
			}
		}
		return in
	}
	if n := count(320, func(i int) string { return fmt.Sprintf("192.0.2.7:%d", 1000+i) }); n != mostOfNetwork {
		t.Errorf("one address has %d", n)
	}
	if n := count(320, func(i int) string { return fmt.Sprintf("[2001:db8:7:1:%x::1]:1", i) }); n != mostOfNetwork {
		t.Errorf("one network of IPv6 has %d", n)
	}
	if n := count(2000, func(i int) string { return fmt.Sprintf("[2001:db8:7:%x::1]:1", i+2) }); n != mostOfBlock-mostOfNetwork {
		t.Errorf("the rest of its block has %d", n)
	}
	if !let("198.51.100.4:1") || !let("127.0.0.1:1") {
		t.Error("nobody else gets in")
	}
	if n := count(2000, func(int) string { return "127.0.0.1:2" }); r.open[""] != mostConnections || n < mostOfBlock {
		t.Errorf("a proxy on this machine has %d of %d", n, r.open[""])
	}
	of, _ := r.enter(at("203.0.113.1:1"))
	if of != nil {
		t.Error("more than there is room for")
	}
	r.leave(r.bounds(at("192.0.2.7:1000")))
	if !let("203.0.113.1:1") {
		t.Error("room that was made is not used")
	}
	// A real listener turns away and goes on.
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	few := withRoom(l)
	few.most = 3
	server := &http.Server{Handler: http.NotFoundHandler(), ReadHeaderTimeout: 10 * time.Second}
	go func() { _ = server.Serve(few) }()
	defer func() { _ = server.Close() }()
	var held []net.Conn
	for range 3 {
		c, err := net.Dial("tcp", l.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		held = append(held, c)
	}
	ask := func() error {
		answer, err := (&http.Client{Transport: &http.Transport{DisableKeepAlives: true}, Timeout: 5 * time.Second}).Get("http://" +
			l.Addr().String())
		if err == nil {
			_ = answer.Body.Close()
		}
		return err
	}
	if ask() == nil {
		t.Error("a fourth connection is answered")
	}
	_ = held[0].Close()
	for began := time.Now(); ; time.Sleep(time.Millisecond) {
		if ask() == nil {
			break
		}
		if time.Since(began) > 10*time.Second {
			t.Fatal("room that was made is not used")
		}
	}
}

// A daemon whose records are damaged starts on the last whole copy, and its keepers are
// told, once.
func TestStartsOnTheLastGoodCopy(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("THAWLINE_DATA_DIR", dir)
	now := time.Date(2026, 3, 20, 16, 0, 0, 0, time.UTC)
	var log lockedLog
	env := Env{Version: "test", Log: slog.New(slog.NewTextHandler(&log, nil)), Clock: func() time.Time { return now }, Frozen: true}
	file := written(t, "thawline.yaml", hillOnly+"people: [{id: wren, role: keeper, channels: [push]}]\nchannels: [{id: push, kind: ntfy, url: http://127.0.0.1:9, topic: a-long-word-that-nobody-guesses}]\n")
	load := func() (*config.Config, error) { return config.Load(file, os.Environ()) }
	settings, err := load()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, ArchiveFile)
	a, err := archive.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, BackupFolder), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := a.Backup(t.Context(), filepath.Join(dir, BackupFolder, "thawline-20260320032000.db")); err != nil {
		t.Fatal(err)
	}
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	spoil, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := spoil.WriteAt([]byte(strings.Repeat("spoilt  ", 512)), 4096); err != nil {
		t.Fatal(err)
	}
	_ = spoil.Close()
	for range 2 { // the second start finds nothing wrong
		h, err := Open(t.Context(), env, settings, load)
		if err != nil {
			t.Fatal(err)
		}
		told, err := h.Daemon.Ledger.Recent(t.Context(), 10)
		if err != nil || len(told) != 1 || !strings.Contains(told[0].Words, "The records were damaged. I put back the copy from") {
			t.Errorf("%v %+v", err, told)
		}
		if err := h.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if !strings.Contains(log.String(), "the records are damaged") {
		t.Errorf("the log says nothing:\n%s", &log)
	}
}
