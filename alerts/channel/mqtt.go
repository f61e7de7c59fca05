package channel

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"net"

	"github.com/eclipse/paho.golang/paho"
)

// MQTT publishes to a broker of MQTT 5: alerts below a topic, kept by the
// broker for whoever comes later.
type MQTT struct {
	Address  string // host:port
	TLS      bool
	User     string
	Password string
	Topic    string // alerts go to Topic/alert, documents of a site below Topic/site
	// Discovery is the topic below which a home automation looks for what there
	// is, "" for none. The documents follow its public convention: one retained
	// description a sensor, at Discovery/sensor/id/config.
	Discovery string
}

// Document is what the broker keeps at a topic.
type Document struct {
	Topic string
	Body  []byte
}

// Send publishes the alert, retained, and waits for the broker's word.
func (q *MQTT) Send(ctx context.Context, m Message) (string, error) {
	body, err := json.Marshal(map[string]any{"key": m.Key, "person": m.Person, "site": m.Site, "site_name": m.Name, "kind": m.Kind, "text": m.Text, "urgent": m.Urgent, "decided_at": m.MadeAt.UTC(), "useful_to": m.Until.UTC()})
	if err != nil {
		return "", fmt.Errorf("mqtt: %w", err)
	}
	return q.publish(ctx, Document{q.Topic + "/alert", body})
}

// Publish puts a site's documents below the topic, retained, and tells a home
// automation where it finds them.
func (q *MQTT) Publish(ctx context.Context, site, name string, documents map[string][]byte) error {
	var all []Document
	for below, body := range documents {
		all = append(all, Document{q.Topic + "/" + site + "/" + below, body})
	}
	described, err := q.described(site, name)
	if err != nil {
		return err
	}
	_, err = q.publish(ctx, append(described, all...)...)
	return err
}

// publish puts documents to the broker, retained, at least once each.
func (q *MQTT) publish(ctx context.Context, documents ...Document) (said string, err error) {
	var conn net.Conn
	if q.TLS {
		conn, err = (&tls.Dialer{}).DialContext(ctx, "tcp", q.Address)
	} else {
		conn, err = (&net.Dialer{}).DialContext(ctx, "tcp", q.Address)
	}
	if err != nil {
		return "", fmt.Errorf("mqtt: %w", err)
	}
	defer func() { _ = conn.Close() }()
	client := paho.NewClient(paho.ClientConfig{Conn: conn})
	connect := &paho.Connect{KeepAlive: 30, CleanStart: true, UsernameFlag: q.User != "", Username: q.User, PasswordFlag: q.Password != "", Password: []byte(q.Password)}
	ack, err := client.Connect(ctx, connect)
	if err != nil {
		said := hide(err.Error(), q.Password)
		// Reasons from 0x80 on are refusals; those of the login do not pass.
		if ack != nil && (ack.ReasonCode == 0x86 || ack.ReasonCode == 0x87) {
			return "", &Refusal{Said: "the broker refused the login: " + said, Permanent: true}
		}
		return "", errors.Join(errors.New("mqtt: "+said), ctx.Err())
	}
	var answer *paho.PublishResponse
	for _, d := range documents {
		answer, err = client.Publish(ctx, &paho.Publish{QoS: 1, Retain: true, Topic: d.Topic, Payload: d.Body, Properties: &paho.PublishProperties{ContentType: "application/json"}})
		if err != nil {
			return "", fmt.Errorf("mqtt: %s: %w", d.Topic, err)
		}
	}
	_ = client.Disconnect(&paho.Disconnect{}) // it has the message
	return fmt.Sprintf("broker answered %d", answer.ReasonCode), nil
}
