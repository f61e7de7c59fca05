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
	Topic    string // alerts go to Topic/alert, outlooks to Topic/outlook
}

// Send publishes the alert, retained, and waits for the broker's word.
func (q *MQTT) Send(ctx context.Context, m Message) (string, error) {
	body, err := json.Marshal(map[string]any{"key": m.Key, "site": m.Name, "kind": m.Kind, "text": m.Text, "urgent": m.Urgent, "made_at": m.MadeAt.UTC(), "useful_until": m.Until.UTC()})
	if err != nil {
		return "", fmt.Errorf("mqtt: %w", err)
	}
	return q.Publish(ctx, "alert", body)
}

// Publish puts a document under the topic, retained, at least once.
func (q *MQTT) Publish(ctx context.Context, below string, body []byte) (said string, err error) {
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
	answer, err := client.Publish(ctx, &paho.Publish{QoS: 1, Retain: true, Topic: q.Topic + "/" + below, Payload: body, Properties: &paho.PublishProperties{ContentType: "application/json"}})
	if err != nil {
		return "", fmt.Errorf("mqtt: %w", err)
	}
	_ = client.Disconnect(&paho.Disconnect{}) // it has the message
	return fmt.Sprintf("broker answered %d", answer.ReasonCode), nil
}
