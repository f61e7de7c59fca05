package channel

import (
	"context"
	"encoding/json"
	"io"
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

	if err := q.Publish(ctx, "north-hill", "North Hill",
		map[string][]byte{"outlook": []byte("{}"), "tomorrow": []byte(`{"run_chance_pct":80}`)}); err != nil {
		t.Fatal(err)
	}
	conn, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	kept := make(chan *paho.Publish, 16)
	client := paho.NewClient(paho.ClientConfig{Conn: conn,
		OnPublishReceived: []func(paho.PublishReceived) (bool, error){func(p paho.PublishReceived) (bool, error) {
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
	for len(held) < 2+1+1+len(sensors) { // and whether a daemon is there
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
		Class    string `json:"device_class"`
		There    string `json:"availability_topic"`
	}
	if err := json.Unmarshal([]byte(held["homeassistant/sensor/thawline_north_hill_run_chance_pct/config"]), &described); err != nil {
		t.Fatal(err)
	}
	if held[described.State] != `{"run_chance_pct":80}` || described.Template != "{{ value_json.run_chance_pct }}" ||
		described.Unit != "%" || described.ID == "" {
		t.Errorf("%+v of %v", described, held)
	}
	for topic, class := range map[string]string{"sensor/thawline_north_hill_low_c": "temperature",
		"sensor/thawline_north_hill_sap_l": "volume_storage", "sensor/thawline_north_hill_next_round_at": "timestamp",
		"sensor/thawline_north_hill_oldest_sap_h": "duration", "sensor/thawline_north_hill_season_end": "date",
		"binary_sensor/thawline_north_hill_gather": ""} {
		described.Class, described.There = "", ""
		if err := json.Unmarshal([]byte(held["homeassistant/"+topic+"/config"]), &described); err != nil || described.Class != class ||
			described.There != "sap/status" {
			t.Errorf("%s: %v %q, there by %q", topic, err, described.Class, described.There)
		}
	}
}

// A home automation knows whether a daemon is there, also when its wire is cut; what a bush
// that is gone left behind is taken away, and another's is not.
func TestStatusAndClearedTopicsThroughMosquitto(t *testing.T) {
	broker := installed(t, "mosquitto")
	port := freePort(t)
	address := "127.0.0.1:" + port
	running(t, address, broker, "-c", written(t, filepath.Join(t.TempDir(), "m.conf"),
		"listener "+port+" 127.0.0.1\nallow_anonymous true\n"))
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()

	conn, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	seen := make(chan *paho.Publish, 100)
	client := paho.NewClient(paho.ClientConfig{Conn: conn,
		OnPublishReceived: []func(paho.PublishReceived) (bool, error){func(p paho.PublishReceived) (bool, error) {
			seen <- p.Packet
			return true, nil
		}}})
	if _, err := client.Connect(ctx, &paho.Connect{KeepAlive: 30, CleanStart: true}); err != nil {
		t.Fatal(err)
	}
	if _, err := client.Subscribe(ctx, &paho.Subscribe{Subscriptions: []paho.SubscribeOptions{{Topic: "#", QoS: 1}}}); err != nil {
		t.Fatal(err)
	}
	kept := map[string]string{}
	until := func(what string, done func() bool) {
		t.Helper()
		for !done() {
			select {
			case p := <-seen:
				if kept[p.Topic] = string(p.Payload); len(p.Payload) == 0 {
					delete(kept, p.Topic)
				}
			case <-ctx.Done():
				t.Fatalf("not %s: %v", what, kept)
			}
		}
	}

	// The daemon's wire.
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	wires := make(chan [2]net.Conn, 1)
	go func() {
		near, err := l.Accept()
		_ = l.Close()
		far, err2 := net.Dial("tcp", address)
		if err != nil || err2 != nil {
			return
		}
		wires <- [2]net.Conn{near, far}
		go func() { _, _ = io.Copy(far, near) }()
		_, _ = io.Copy(near, far)
	}()
	_, wire, err := net.SplitHostPort(l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	there := &MQTT{brokerAt(t, port, "sap")}
	there.Discovery = "homeassistant"
	for _, site := range []string{"hill", "gone"} {
		if err := there.Publish(ctx, site, site, map[string][]byte{"outlook": []byte("{}"), "tomorrow": []byte("{}")}); err != nil {
			t.Fatal(err)
		}
	}
	ours := make(chan string, 10)
	listening, stop := context.WithCancel(ctx)
	defer stop()
	go func() {
		_ = (&MQTT{brokerAt(t, wire, "sap")}).Listen(listening, func(h Heard) {
			if h.Ours {
				ours <- h.Site
			}
		}, func(error) {})
	}()
	until("online", func() bool { return kept["sap/status"] == "online" })
	if a, b := <-ours, <-ours; a == b || a != "hill" && a != "gone" || b != "hill" && b != "gone" {
		t.Errorf("kept of %s and %s", a, b)
	}
	if err := there.Clear(ctx, "gone"); err != nil {
		t.Fatal(err)
	}
	left := func() (of int) {
		for topic := range kept {
			if strings.Contains(topic, "gone") {
				of++
			}
		}
		return of
	}
	until("cleared", func() bool { return left() == 0 })
	if kept["sap/hill/tomorrow"] == "" || kept["homeassistant/binary_sensor/thawline_hill_gather/config"] == "" {
		t.Errorf("another bush's is gone too: %v", kept)
	}
	for _, conn := range <-wires {
		_ = conn.Close()
	}
	until("offline by its last will", func() bool { return kept["sap/status"] == "offline" })

	// One that stops says so itself, and one that is there takes the word back.
	second, leave := context.WithCancel(ctx)
	ended := make(chan error, 1)
	go func() { ended <- there.Listen(second, func(Heard) {}, func(error) {}) }()
	until("online again", func() bool { return kept["sap/status"] == "online" })
	if _, err := there.publish(ctx, Document{"sap/status", []byte(offline)}); err != nil {
		t.Fatal(err)
	}
	until("offline of another", func() bool { return kept["sap/status"] == "offline" })
	until("online of this one", func() bool { return kept["sap/status"] == "online" })
	leave()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	until("offline by its own word", func() bool { return kept["sap/status"] == "offline" })
}

func TestOnlyGaugesAreHeard(t *testing.T) {
	q := &MQTT{MQTTOptions{Topic: "sap/vt"}}
	for topic, want := range map[string]bool{"sap/vt/hill/tank/big/level": true, "sap/vt/hill/tank/big": false,
		"sap/hill/tank/big/level": false, "sap/vt/hill/pump/big/level": false, "sap/vt/hill/thermometer": true,
		"sap/vt/hill/tank/big/flow": true, "sap/vt/hill/tomorrow": true, "sap/vt/status": false, "sap/vt/hill/thermometer/low": false} {
		if _, ok := q.gauge(topic); ok != want {
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
	running(t, "127.0.0.1:"+port, broker, "-c",
		written(t, filepath.Join(dir, "m.conf"), "listener "+port+" 127.0.0.1\nallow_anonymous true\n"))
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
	lamp := exec.CommandContext(ctx, "../../deploy/watching/lamp", "sugarbush/hill", "50", command, "-h", "127.0.0.1", "-p", port, "-C",
		"4")
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
