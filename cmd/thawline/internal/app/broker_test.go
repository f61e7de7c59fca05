package app

import (
	"io"
	"maps"
	"net"
	"strings"
	"sync"
	"testing"

	"github.com/eclipse/paho.golang/packets"
)

// broker keeps what is published to it, and hands what it keeps to whoever subscribes.
type broker struct {
	at   string
	mu   sync.Mutex
	kept map[string]string // bodies by topic
}

func brokerOf(t testing.TB) *broker {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = l.Close() })
	b := &broker{at: l.Addr().String(), kept: map[string]string{}}
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go b.serve(conn)
		}
	}()
	return b
}

func (b *broker) serve(conn net.Conn) {
	defer func() { _ = conn.Close() }()
	say := func(p io.WriterTo) { _, _ = p.WriteTo(conn) }
	for {
		p, err := packets.ReadPacket(conn)
		if err != nil {
			return
		}
		switch c := p.Content.(type) {
		case *packets.Connect:
			say(&packets.Connack{Properties: &packets.Properties{}})
		case *packets.Publish:
			b.mu.Lock()
			if b.kept[c.Topic] = string(c.Payload); len(c.Payload) == 0 {
				delete(b.kept, c.Topic)
			}
			b.mu.Unlock()
			say(&packets.Puback{PacketID: c.PacketID, Properties: &packets.Properties{}})
		case *packets.Subscribe:
			say(&packets.Suback{PacketID: c.PacketID, Reasons: make([]byte, len(c.Subscriptions)), Properties: &packets.Properties{}})
			for topic, body := range b.all() {
				say(&packets.Publish{Topic: topic, Payload: []byte(body), Retain: true, Properties: &packets.Properties{}})
			}
		case *packets.Pingreq:
			say(&packets.Pingresp{})
		case *packets.Disconnect:
			return
		}
	}
}

// all is what the broker keeps now.
func (b *broker) all() map[string]string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return maps.Clone(b.kept)
}

// of is what the broker keeps of a bush, by what comes after its topic.
func (b *broker) of(site string) map[string]string {
	out := map[string]string{}
	for topic, body := range b.all() {
		if rest, is := strings.CutPrefix(topic, "sap/"+site+"/"); is || strings.Contains(topic, "thawline_"+site+"_") {
			out[rest] = body
		}
	}
	return out
}
