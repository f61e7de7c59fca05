package app

import (
	"net"
	"net/netip"
	"sync"
	"time"
)

// How many connections are open at a time, so that weather, messages and records always
// find a file handle: a unit of systemd has 4,096, a plain shell often 1,024. One network
// has a part of them, so that who opens them without asking anything keeps nobody else
// out; those of this machine, a proxy's among them, have all.
const (
	mostConnections = 400
	mostOfNetwork   = 48
	mostOfBlock     = 144
)

// room is a listener that turns away connections of who has too many open.
type room struct {
	net.Listener
	most, network, block int

	mu   sync.Mutex
	open map[string]int // by network and block; under "" all
}

func withRoom(l net.Listener) *room {
	return &room{Listener: l, most: mostConnections, network: mostOfNetwork, block: mostOfBlock, open: map[string]int{}}
}

// Accept gives the next connection that there is room for.
func (r *room) Accept() (net.Conn, error) {
	for {
		c, err := r.Listener.Accept()
		if err != nil {
			return nil, err
		}
		if of, room := r.enter(c.RemoteAddr()); room {
			return &counted{Conn: c, leave: sync.OnceFunc(func() { r.leave(of) })}, nil
		}
		_ = c.SetDeadline(time.Now())
		_ = c.Close()
	}
}

// bounds are the counts that an address belongs to, each with the most of it.
func (r *room) bounds(a net.Addr) map[string]int {
	of := map[string]int{"": r.most}
	to, err := netip.ParseAddrPort(a.String())
	if err != nil {
		return of
	}
	ip := to.Addr().Unmap().WithZone("")
	if ip.IsLoopback() {
		return of
	}
	whole, part := 64, 48
	if ip.Is4() {
		whole, part = 32, 24
	}
	network, _ := ip.Prefix(whole)
	block, _ := ip.Prefix(part)
	of[network.String()], of[block.String()+" block"] = r.network, r.block
	return of
}

func (r *room) enter(a net.Addr) (of map[string]int, room bool) {
	of = r.bounds(a)
	r.mu.Lock()
	defer r.mu.Unlock()
	for key, most := range of {
		if r.open[key] >= most {
			return nil, false
		}
	}
	for key := range of {
		r.open[key]++
	}
	return of, true
}

func (r *room) leave(of map[string]int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for key := range of {
		if r.open[key]--; r.open[key] == 0 {
			delete(r.open, key)
		}
	}
}

// counted is a connection that makes room when it is closed.
type counted struct {
	net.Conn
	leave func()
}

// Close makes room.
func (c *counted) Close() error {
	c.leave()
	return c.Conn.Close()
}
