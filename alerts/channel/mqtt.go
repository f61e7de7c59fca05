package channel

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"strconv"
	"strings"

	"github.com/eclipse/paho.golang/paho"

	"thawline/forecast/secret"
)

// MQTTKind is the name of this kind in settings.
const MQTTKind = "mqtt"

// MQTTOptions say which broker, and below which topic.
type MQTTOptions struct {
	Host     string
	Port     int // UsualPort if 0
	User     string
	Password secret.Text
	Plain    bool // without TLS: within the house
	// Topic is where alerts go, to Topic/alert, and below which documents of a site are kept,
	// at Topic/site. Alerts of a person whom some sites alone concern go to Topic/site/alert.
	Topic string
	// Discovery is the topic below which a home automation looks for what there
	// is, "" for none. The documents follow its public convention: one retained
	// description a sensor, at Discovery/sensor/id/config.
	Discovery string
}

var mqttKind = Kind{Name: MQTTKind, Options: func() Options { return &MQTTOptions{} }}

// Settings are those of Options.
func (o *MQTTOptions) Settings() []Setting {
	return []Setting{
		{Key: "host", Example: "broker.example.org", Into: &o.Host},
		{Key: "user", Example: "sugarhouse", Into: &o.User},
		{Key: "security", Example: "tls", Into: &o.Plain},
		{Key: "port", Into: &o.Port, Usual: o.UsualPort()},
		{Key: "topic", Example: "sugarbush", Into: &o.Topic},
		{Key: "discovery", Example: "homeassistant", Into: &o.Discovery},
		{Key: "secret", Into: &o.Password},
	}
}

// UsualPort is 8883, without TLS 1883 (IANA's registry, from memory).
func (o *MQTTOptions) UsualPort() int {
	if o.Plain {
		return 1883
	}
	return 8883
}

// Check is that of Options.
func (o *MQTTOptions) Check() []Fault {
	if o.Port == 0 {
		o.Port = o.UsualPort()
	}
	faults := missing(MQTTKind, "host", o.Host, "name the broker", "topic", o.Topic,
		"write the topic below which alerts and outlooks are kept, such as sugarbush/hill")
	for _, t := range []struct{ key, topic string }{{"topic", o.Topic}, {"discovery", o.Discovery}} {
		if strings.ContainsAny(t.topic, "+# ") || strings.HasPrefix(t.topic, "/") || strings.HasSuffix(t.topic, "/") {
			faults = append(faults, Fault{t.key, t.topic + ": not a topic to publish below",
				"write words with / between them, such as sugarbush/hill"})
		}
	}
	return faults
}

// Open is that of Options.
func (o *MQTTOptions) Open(With) Channel { return &MQTT{*o} }

// To is the topic of everybody, or that of one site for whom not all concern.
func (o *MQTTOptions) To(r Reach) string {
	if r.SomeSites {
		return o.Topic + ofSite
	}
	return o.Topic
}

// ofSite stands at the end of a topic for that of a message's site.
const ofSite = "/+"

// MQTT publishes to a broker of MQTT 5: alerts below a topic, kept by the
// broker for whoever comes later.
type MQTT struct{ MQTTOptions }

func (q *MQTT) address() string { return net.JoinHostPort(q.Host, strconv.Itoa(q.Port)) }

// Document is what the broker keeps at a topic.
type Document struct {
	Topic string
	Body  []byte
}

// Send publishes the alert, retained, and waits for the broker's word.
func (q *MQTT) Send(ctx context.Context, m Message) (string, error) {
	body, err := json.Marshal(map[string]any{"key": m.Key, "person": m.Person, "site": m.Site, "site_name": m.Name, "kind": m.Kind,
		"kinds": m.Kinds, "text": m.Text, "urgent": m.Urgent, "decided_at": m.MadeAt.UTC(), "useful_to": m.Until.UTC()})
	if err != nil {
		return "", fmt.Errorf("mqtt: %w", err)
	}
	topic := q.Topic
	if m.To == q.Topic+ofSite && m.Site != "" {
		topic += "/" + m.Site
	}
	return q.publish(ctx, Document{topic + "/alert", body})
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
	if !q.Plain {
		conn, err = (&tls.Dialer{}).DialContext(ctx, "tcp", q.address())
	} else {
		conn, err = (&net.Dialer{}).DialContext(ctx, "tcp", q.address())
	}
	if err != nil {
		return "", fmt.Errorf("mqtt: %w", err)
	}
	defer func() { _ = conn.Close() }()
	client := paho.NewClient(paho.ClientConfig{Conn: conn})
	connect := &paho.Connect{KeepAlive: 30, CleanStart: true, UsernameFlag: q.User != "", Username: q.User,
		PasswordFlag: q.Password.Given(), Password: []byte(q.Password.Reveal())}
	ack, err := client.Connect(ctx, connect)
	if err != nil {
		said := hide(err.Error(), q.Password.Reveal())
		// Reasons from 0x80 on are refusals; those of the login do not pass.
		if ack != nil && (ack.ReasonCode == 0x86 || ack.ReasonCode == 0x87) {
			return "", &Refusal{Said: "the broker refused the login: " + said, Permanent: true}
		}
		return "", errors.Join(errors.New("mqtt: "+said), ctx.Err())
	}
	var answer *paho.PublishResponse
	for _, d := range documents {
		answer, err = client.Publish(ctx,
			&paho.Publish{QoS: 1, Retain: true, Topic: d.Topic, Payload: d.Body,
				Properties: &paho.PublishProperties{ContentType: "application/json"}})
		if err != nil {
			return "", fmt.Errorf("mqtt: %s: %w", d.Topic, err)
		}
	}
	_ = client.Disconnect(&paho.Disconnect{}) // it has the message
	return fmt.Sprintf("broker answered %d", answer.ReasonCode), nil
}
