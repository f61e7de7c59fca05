package channel

import (
	"context"
	"crypto/tls"
	"fmt"
	"net/url"
	"strings"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"
)

// Heard is what a tank's gauge, or a bush's thermometer, published.
type Heard struct {
	Site, Tank string // Tank is "" for the thermometer
	Body       []byte
}

// Listen hears the gauges of tanks, published at Topic/site/tank/name/level, and
// thermometers at Topic/site/thermometer, until the context ends. It finds the broker again when it was lost, and says
// so through troubled.
func (q *MQTT) Listen(ctx context.Context, heard func(Heard), troubled func(error)) error {
	address := &url.URL{Scheme: "mqtt", Host: q.address()}
	if !q.Plain {
		address.Scheme = "mqtts"
	}
	quiet := func(err error) { troubled(fmt.Errorf("mqtt: %s", hide(err.Error(), q.Password.Reveal()))) }
	var filters []paho.SubscribeOptions
	for _, filter := range []string{q.Topic + "/+/tank/+/level", q.Topic + "/+/thermometer"} {
		filters = append(filters, paho.SubscribeOptions{Topic: filter, QoS: 1})
	}
	c := autopaho.ClientConfig{
		ServerUrls: []*url.URL{address}, KeepAlive: 30, CleanStartOnInitialConnection: true,
		ConnectUsername: q.User, ConnectPassword: []byte(q.Password.Reveal()),
		OnConnectError: quiet,
		OnConnectionUp: func(m *autopaho.ConnectionManager, _ *paho.Connack) {
			if _, err := m.Subscribe(ctx, &paho.Subscribe{Subscriptions: filters}); err != nil && ctx.Err() == nil {
				quiet(fmt.Errorf("subscribe to %s and %s: %w", filters[0].Topic, filters[1].Topic, err))
			}
		},
		ClientConfig: paho.ClientConfig{OnPublishReceived: []func(paho.PublishReceived) (bool, error){func(p paho.PublishReceived) (bool, error) {
			if site, tank, ok := q.gauge(p.Packet.Topic); ok {
				heard(Heard{site, tank, p.Packet.Payload})
			}
			return true, nil
		}}},
	}
	if !q.Plain {
		c.TlsCfg = &tls.Config{MinVersion: tls.VersionTLS12}
	}
	manager, err := autopaho.NewConnection(ctx, c)
	if err != nil {
		return fmt.Errorf("mqtt: %w", err)
	}
	<-manager.Done()
	return nil
}

// gauge reads which tank a topic is about, "" for the thermometer.
func (q *MQTT) gauge(topic string) (site, tank string, ok bool) {
	rest, ours := strings.CutPrefix(topic, q.Topic+"/")
	parts := strings.Split(rest, "/")
	if ours && len(parts) == 2 && parts[1] == "thermometer" {
		return parts[0], "", true
	}
	if !ours || len(parts) != 4 || parts[1] != "tank" || parts[3] != "level" {
		return "", "", false
	}
	return parts[0], parts[2], true
}
