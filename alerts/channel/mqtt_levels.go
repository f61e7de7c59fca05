package channel

import (
	"context"
	"crypto/tls"
	"fmt"
	"net/url"
	"strings"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"
)

// Heard is what a gauge of a tank, or a bush's thermometer, published.
type Heard struct {
	Site, Tank string // Tank is "" for the thermometer
	Flow       bool   // of what has run into the tank, counted on, not of its level
	// Ours is a document of ours that the broker kept: the site is one that was
	// published before.
	Ours bool
	Body []byte
}

const online, offline = "online", "offline"

// received hands on what a gauge publishes, and notes in left that another daemon said
// goodbye.
func (q *MQTT) received(ctx context.Context, p *paho.Publish, heard func(Heard), left chan<- struct{}) {
	if h, ok := q.gauge(p.Topic); ok && (!h.Ours || p.Retain && len(p.Payload) > 0) {
		h.Body = p.Payload
		heard(h)
	}
	if p.Topic == q.statusTopic() && string(p.Payload) == offline && ctx.Err() == nil {
		select {
		case left <- struct{}{}:
		default:
		}
	}
}

// Listen hears the gauges of tanks, published at Topic/site/tank/name/level and …/flow, and
// thermometers at Topic/site/thermometer, until the context ends. As long it says at
// Topic/status that it is there; the broker says otherwise when it is lost (its last will).
// It finds the broker again, and tells of trouble through troubled.
func (q *MQTT) Listen(ctx context.Context, heard func(Heard), troubled func(error)) error {
	address := &url.URL{Scheme: "mqtt", Host: q.address()}
	if !q.Plain {
		address.Scheme = "mqtts"
	}
	quiet := func(err error) { troubled(fmt.Errorf("mqtt: %s", hide(err.Error(), q.Password.Reveal()))) }
	var filters []paho.SubscribeOptions
	for _, filter := range []string{q.Topic + "/+/tank/+/level", q.Topic + "/+/tank/+/flow", q.Topic + "/+/thermometer",
		q.Topic + "/+/tomorrow", q.statusTopic()} {
		filters = append(filters, paho.SubscribeOptions{Topic: filter, QoS: 1})
	}
	left := make(chan struct{}, 1) // another daemon on the same topic has left: this one is still there
	say := func(m *autopaho.ConnectionManager, status string) {
		if _, err := m.Publish(ctx, &paho.Publish{QoS: 1, Retain: true, Topic: q.statusTopic(), Payload: []byte(status)}); err != nil &&
			ctx.Err() == nil {
			quiet(err)
		}
	}
	c := autopaho.ClientConfig{
		ServerUrls: []*url.URL{address}, KeepAlive: 30, CleanStartOnInitialConnection: true,
		ConnectUsername: q.User, ConnectPassword: []byte(q.Password.Reveal()),
		WillMessage:    &paho.WillMessage{Retain: true, QoS: 1, Topic: q.statusTopic(), Payload: []byte(offline)},
		OnConnectError: quiet,
		OnConnectionUp: func(m *autopaho.ConnectionManager, _ *paho.Connack) {
			if _, err := m.Subscribe(ctx, &paho.Subscribe{Subscriptions: filters}); err != nil && ctx.Err() == nil {
				quiet(fmt.Errorf("subscribe to gauges below %s: %w", q.Topic, err))
			}
			say(m, online)
		},
		ClientConfig: paho.ClientConfig{OnPublishReceived: []func(paho.PublishReceived) (bool,
			error){func(p paho.PublishReceived) (bool, error) {
			q.received(ctx, p.Packet, heard, left)
			return true, nil
		}}},
	}
	if !q.Plain {
		c.TlsCfg = &tls.Config{MinVersion: tls.VersionTLS12}
	}
	connected, disconnect := context.WithCancel(context.WithoutCancel(ctx))
	defer disconnect()
	manager, err := autopaho.NewConnection(connected, c)
	if err != nil {
		return fmt.Errorf("mqtt: %w", err)
	}
	for {
		select {
		case <-left:
			say(manager, online)
		case <-ctx.Done():
			bounded, cancel := context.WithTimeout(connected, farewell)
			defer cancel()
			_, _ = manager.Publish(bounded,
				&paho.Publish{QoS: 1, Retain: true, Topic: q.statusTopic(), Payload: []byte(offline)}) // else its will says so
			_ = manager.Disconnect(bounded)
			return nil
		}
	}
}

// farewell is how long a daemon that stops tries to say so.
const farewell = 2 * time.Second

// gauge reads what a topic is about.
func (q *MQTT) gauge(topic string) (h Heard, ok bool) {
	rest, ours := strings.CutPrefix(topic, q.Topic+"/")
	parts := strings.Split(rest, "/")
	switch {
	case !ours:
		return Heard{}, false
	case len(parts) == 2 && parts[1] == "thermometer":
		return Heard{Site: parts[0]}, true
	case len(parts) == 2 && parts[1] == "tomorrow":
		return Heard{Site: parts[0], Ours: true}, true
	case len(parts) == 4 && parts[1] == "tank" && (parts[3] == "level" || parts[3] == "flow"):
		return Heard{Site: parts[0], Tank: parts[2], Flow: parts[3] == "flow"}, true
	}
	return Heard{}, false
}
