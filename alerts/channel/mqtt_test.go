package channel

import (
	"context"
	"encoding/json"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/eclipse/paho.golang/paho"
)

// Mosquitto carries a gauge's reading in, also after it was restarted, and keeps
// the figures with a description for a home automation, in the form that its
// public documentation of MQTT discovery states (from memory): the config topic
// is prefix/component/object/config, and its state topic holds JSON that the
// value template picks from.
func TestGaugesAndDiscoveryThroughMosquitto(t *testing.T) {
	broker := installed(t, "mosquitto")
	port := freePort(t)
	config := written(t, filepath.Join(t.TempDir(), "m.conf"), "listener "+port+" 127.0.0.1\nallow_anonymous true\n")
	address := "127.0.0.1:" + port
	running(t, address, broker, "-c", config)
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	q := &MQTT{brokerAt(t, port, "sap")}
	q.Discovery = "homeassistant"
	heard := make(chan Heard, 8)
	listening, stop := context.WithCancel(ctx)
	ended := make(chan error, 1)
	go func() { ended <- q.Listen(listening, func(h Heard) { heard <- h }, func(err error) { t.Log(err) }) }()

	// The subscription takes a moment: the gauge says it until it is heard.
	gauge := &MQTT{brokerAt(t, port, "sap")}
	for got := false; !got; {
		if _, err := gauge.publish(ctx, Document{"sap/hill/tank/big/level", []byte(`{"value":1,"unit":"L"}`)}); err != nil {
			t.Fatal(err)
		}
		select {
		case h := <-heard:
			got = true
			if h.Site != "hill" || h.Tank != "big" || !strings.Contains(string(h.Body), `"value":1`) {
				t.Errorf("%+v", h)
			}
		case <-time.After(200 * time.Millisecond):
		case <-ctx.Done():
			t.Fatal("nothing was heard")
		}
	}
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}

	if err := q.Publish(ctx, "north-hill", "North Hill", map[string][]byte{"outlook": []byte("{}"), "tomorrow": []byte(`{"run_chance_pct":80}`)}); err != nil {
		t.Fatal(err)
	}
	conn, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	kept := make(chan *paho.Publish, 16)
	client := paho.NewClient(paho.ClientConfig{Conn: conn, OnPublishReceived: []func(paho.PublishReceived) (bool, error){func(p paho.PublishReceived) (bool, error) {
		kept <- p.Packet
		return true, nil
	}}})
	if _, err := client.Connect(ctx, &paho.Connect{KeepAlive: 30, CleanStart: true}); err != nil {
		t.Fatal(err)
	}
	if _, err := client.Subscribe(ctx, &paho.Subscribe{Subscriptions: []paho.SubscribeOptions{{Topic: "#", QoS: 1}}}); err != nil {
		t.Fatal(err)
	}
	held := map[string]string{}
	for len(held) < 2+1+len(sensors) {
		select {
		case p := <-kept:
			held[p.Topic] = string(p.Payload)
		case <-ctx.Done():
			t.Fatalf("only %v", held)
		}
	}
	_ = client.Disconnect(&paho.Disconnect{})
	var described struct {
		State    string `json:"state_topic"`
		Template string `json:"value_template"`
		ID       string `json:"unique_id"`
		Unit     string `json:"unit_of_measurement"`
	}
	if err := json.Unmarshal([]byte(held["homeassistant/sensor/thawline_north_hill_run_chance_pct/config"]), &described); err != nil {
		t.Fatal(err)
	}
	if held[described.State] != `{"run_chance_pct":80}` || described.Template != "{{ value_json.run_chance_pct }}" || described.Unit != "%" || described.ID == "" {
		t.Errorf("%+v of %v", described, held)
	}
}

func TestOnlyGaugesAreHeard(t *testing.T) {
	q := &MQTT{MQTTOptions{Topic: "sap/vt"}}
	for topic, want := range map[string]bool{"sap/vt/hill/tank/big/level": true, "sap/vt/hill/tank/big": false, "sap/hill/tank/big/level": false, "sap/vt/hill/pump/big/level": false, "sap/vt/hill/thermometer": true, "sap/vt/hill/thermometer/low": false} {
		if _, _, ok := q.gauge(topic); ok != want {
			t.Errorf("%s: %v", topic, ok)
		}
	}
}

// brokerAt is a broker of this machine.
func brokerAt(t *testing.T, port, topic string) MQTTOptions {
	t.Helper()
	n, err := strconv.Atoi(port)
	if err != nil {
		t.Fatal(err)
	}
	return MQTTOptions{Host: "127.0.0.1", Port: n, Plain: true, Topic: topic}
}

// The example for the house follows the figures at the broker: on, and off again, and
// nothing said twice.
func TestLampFollowsTheFigures(t *testing.T) {
	broker := installed(t, "mosquitto")
	installed(t, "mosquitto_sub")
	installed(t, "jq")
	dir := t.TempDir()
	port := freePort(t)
	running(t, "127.0.0.1:"+port, broker, "-c", written(t, filepath.Join(dir, "m.conf"), "listener "+port+" 127.0.0.1\nallow_anonymous true\n"))
	q := &MQTT{brokerAt(t, port, "sugarbush")}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	publish := func(chance string) {
		if err := q.Publish(ctx, "hill", "Hill", map[string][]byte{"tomorrow": []byte(`{"run_chance_pct":` + chance + `}`)}); err != nil {
			t.Fatal(err)
		}
	}
	publish("80")
	said := filepath.Join(dir, "said")
	command := written(t, filepath.Join(dir, "switch"), "#!/bin/sh\necho $1 >> "+said+"\n")
	if err := os.Chmod(command, 0o700); err != nil {
		t.Fatal(err)
	}
	lamp := exec.CommandContext(ctx, "../../deploy/watching/lamp", "sugarbush/hill", "50", command, "-h", "127.0.0.1", "-p", port, "-C", "4")
	if err := lamp.Start(); err != nil {
		t.Fatal(err)
	}
	seen := func(want string) {
		t.Helper()
		for ctx.Err() == nil {
			if got, _ := os.ReadFile(said); string(got) == want {
				return
			}
			time.Sleep(20 * time.Millisecond)
		}
		got, _ := os.ReadFile(said)
		t.Fatalf("the lamp was told %q, want %q", got, want)
	}
	seen("on\n")
	publish("70")
	publish("null")
	seen("on\noff\n")
	publish("55")
	if err := lamp.Wait(); err != nil {
		t.Error(err)
	}
	seen("on\noff\non\n")
}
