package channel

import (
	"bufio"
	"context"
	"crypto/ecdh"
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	webpush "github.com/SherClockHolmes/webpush-go"

	"thawline/forecast/secret"
)

// contract is how the tests that all channels pass open a channel of one kind.
type contract struct {
	kind string
	// open makes the channel that reaches a server on this machine.
	open func(t *testing.T, server *url.URL, w With) Channel
	// to finds the person whom all tests write to; "" is their number.
	to string
	// private is what the other side is told, or could guess, and no error may tell on.
	private []string
	// http says that the other side answers with a status and Retry-After.
	http bool
	// key finds the message's key in a request; nil where the protocol has no place for
	// one, and keyless says why.
	key     func(r *http.Request, body string) string
	keyless string
	// alone says that no other side is spoken to: a folder, say.
	alone bool
}

const contractSecret = "c0ntract-s3cret"

func opened(t *testing.T, o Options, w With) Channel {
	t.Helper()
	if faults := o.Check(); len(faults) > 0 {
		t.Fatalf("the options of the contract are not fit: %v", faults)
	}
	return o.Open(w)
}

func portOf(t *testing.T, server *url.URL) int {
	t.Helper()
	port, err := strconv.Atoi(server.Port())
	if err != nil {
		t.Fatal(err)
	}
	return port
}

func inBody(name string) func(*http.Request, string) string {
	return func(_ *http.Request, body string) string {
		var document map[string]any
		_ = json.Unmarshal([]byte(body), &document)
		key, _ := document[name].(string)
		return key
	}
}

// whsec is the webhook's secret: they are base64 after their mark.
var whsec = "whsec_" + base64.StdEncoding.EncodeToString([]byte(contractSecret+contractSecret))

var contracts = []contract{
	{kind: GatewayKind, private: []string{contractSecret, sample.To}, http: true, key: inBody("key"),
		open: func(t *testing.T, server *url.URL, w With) Channel {
			return opened(t, &GatewayOptions{URL: server.String() + "/{to}?s={secret}", JSON: `{"to":"{to}","body":"{text}","key":"{key}"}`,
				Header: "Authorization: Bearer {secret}", Secret: secret.New(contractSecret)}, w)
		}},
	{kind: VoiceKind, private: []string{contractSecret, sample.To}, http: true, key: inBody("key"),
		open: func(t *testing.T, server *url.URL, w With) Channel {
			o := &VoiceOptions{GatewayOptions: GatewayOptions{URL: server.String() + "/{to}?s={secret}",
				JSON: `{"to":"{to}","say":"{text}","key":"{key}"}`, Secret: secret.New(contractSecret)}}
			o.Pressed = regexp.MustCompile("digit=1")
			return opened(t, o, w)
		}},
	{kind: ModemKind, alone: true, open: func(t *testing.T, _ *url.URL,
		w With) Channel {
		return opened(t, &Modem{Outbox: t.TempDir()}, w)
	}},
	{kind: EmailKind, to: "robin@example.org", private: []string{contractSecret, "robin@example.org"},
		keyless: "SMTP has no key; the Message-ID is checked with the headers", open: func(t *testing.T, server *url.URL, w With) Channel {
			return opened(t, &EmailOptions{Host: server.Hostname(), Port: portOf(t, server), Plain: true, User: "hill",
				Password: secret.New(contractSecret), From: "hill@example.org"}, w)
		}},
	{kind: WebhookKind, to: "robin", private: []string{whsec}, http: true,
		key: func(r *http.Request, _ string) string { return r.Header.Get("webhook-id") },
		open: func(t *testing.T, server *url.URL, w With) Channel {
			return opened(t, &WebhookOptions{URL: server.String(), Secret: secret.New(whsec)}, w)
		}},
	{kind: NtfyKind, to: "nobody-guesses", private: []string{contractSecret, "nobody-guesses"}, http: true, keyless: "ntfy has none",
		open: func(t *testing.T, server *url.URL, w With) Channel {
			return opened(t, &NtfyOptions{URL: server.String(), Topic: "nobody-guesses", Token: secret.New(contractSecret)}, w)
		}},
	{kind: MQTTKind, to: "hill", private: []string{contractSecret}, keyless: "the document has it; a broker does not look",
		open: func(t *testing.T, server *url.URL, w With) Channel {
			return opened(t, &MQTTOptions{Host: server.Hostname(), Port: portOf(t, server), Plain: true, User: "hill",
				Password: secret.New(contractSecret), Topic: "hill"}, w)
		}},
	{kind: WebPushKind, to: "robin", private: []string{"/browser-of-robin"}, http: true,
		keyless: "the tag is encrypted; the browser's test reads it", open: func(t *testing.T, server *url.URL, w With) Channel {
			private, public, err := webpush.GenerateVAPIDKeys()
			if err != nil {
				t.Fatal(err)
			}
			key, err := ecdh.P256().GenerateKey(rand.Reader)
			if err != nil {
				t.Fatal(err)
			}
			document, err := json.Marshal(map[string]any{"endpoint": server.String() + "/browser-of-robin", "keys": map[string]string{
				"p256dh": base64.RawURLEncoding.EncodeToString(key.PublicKey().Bytes()),
				"auth":   base64.RawURLEncoding.EncodeToString(make([]byte, 16))}})
			if err != nil {
				t.Fatal(err)
			}
			w.Subscribers = &browsers{documents: []string{string(document)}, private: private, public: public}
			p := opened(t, &WebPushOptions{}, w).(*WebPush)
			p.Client.Transport = http.DefaultTransport // the channel's own goes to no server of this machine
			return p
		}},
}

// eachChannel runs what all channels have to keep, by kind; a kind without a contract fails.
func eachChannel(t *testing.T, test func(t *testing.T, c *contract, m Message)) {
	t.Helper()
	for _, k := range Kinds() {
		t.Run(k.Name, func(t *testing.T) {
			t.Parallel()
			i := slices.IndexFunc(contracts, func(c contract) bool { return c.kind == k.Name })
			if i < 0 {
				t.Fatal("no contract: say in contracts how the tests open it")
			}
			c := &contracts[i]
			if c.key == nil && c.keyless == "" && !c.alone {
				t.Error("the contract says neither where the key is nor why there is none")
			}
			m := sample
			if c.to != "" {
				m.To = c.to
			}
			test(t, c, m)
		})
	}
}

func common() With {
	return With{Agent: "thawline/test", Timeout: 200 * time.Millisecond, Now: func() time.Time { return sample.MadeAt },
		Contact: "test@example.org"}
}

// told looks for what no error may say.
func (c *contract) told(t *testing.T, err error) {
	t.Helper()
	for _, private := range c.private {
		if err != nil && strings.Contains(err.Error(), private) {
			t.Errorf("the error tells %q: %v", private, err)
		}
	}
}

// listening accepts connections and does with each what it is given.
func listening(t *testing.T, with func(net.Conn)) *url.URL {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = l.Close() })
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			t.Cleanup(func() { _ = conn.Close() })
			go with(conn)
		}
	}()
	return &url.URL{Scheme: "http", Host: l.Addr().String()}
}

// A server that takes the connection and never says a word holds no message longer than
// an attempt may take, and the message is tried again.
func TestEveryChannelGivesUpInTime(t *testing.T) {
	eachChannel(t, func(t *testing.T, c *contract, m Message) {
		if c.alone {
			t.Skip("nobody to wait for")
		}
		ch := c.open(t, listening(t, func(net.Conn) {}), common())
		ctx, cancel := context.WithTimeout(context.Background(), 300*time.Millisecond)
		defer cancel()
		ended := make(chan error, 1)
		go func() {
			_, err := ch.Send(ctx, m)
			ended <- err
		}()
		select {
		case err := <-ended:
			if outcome, wait := Outcome(err); err == nil || outcome != "later" || wait != 0 {
				t.Errorf("got %v, %s after %s; want later", err, outcome, wait)
			}
			c.told(t, err)
		case <-time.After(10 * time.Second):
			t.Error("it still waits for a server that says nothing")
		}
	})
}

// A server that is not there, or that answers with what is not of the protocol and repeats
// what it knows, is tried again; what it was told is not told on.
func TestEveryChannelTellsNoSecrets(t *testing.T) {
	eachChannel(t, func(t *testing.T, c *contract, m Message) {
		if c.alone {
			t.Skip("nobody to talk to")
		}
		babble := func(conn net.Conn) {
			_, _ = io.WriteString(conn, "554 "+strings.Join(c.private, " ")+" is not known\r\n")
			_, _ = bufio.NewReader(io.LimitReader(conn, 1)).ReadByte()
			_ = conn.Close()
		}
		gone := &url.URL{Scheme: "http", Host: "127.0.0.1:1"}
		for name, server := range map[string]*url.URL{"nobody there": gone, "another protocol": listening(t, babble)} {
			ctx, cancel := context.WithTimeout(context.Background(), time.Second)
			_, err := c.open(t, server, common()).Send(ctx, m)
			cancel()
			if err == nil {
				t.Errorf("%s: it counts as sent", name)
			}
			c.told(t, err)
		}
	})
}

// What HTTP says of trying again counts, whichever channel hears it.
func TestEveryChannelHeedsAnswers(t *testing.T) {
	eachChannel(t, func(t *testing.T, c *contract, m Message) {
		if !c.http {
			t.Skip("no statuses in its protocol")
		}
		for _, answer := range []struct {
			status     int
			retryAfter string
			outcome    string
			wait       time.Duration
		}{
			{http.StatusTooManyRequests, "120", "later", 2 * time.Minute},
			{http.StatusServiceUnavailable, "", "later", 0},
			{http.StatusServiceUnavailable, "86400", "later", 6 * time.Hour},
			{http.StatusBadRequest, "", "refused", 0},
			{http.StatusUnauthorized, "120", "refused", 0},
		} {
			a := &answering{status: answer.status, header: map[string]string{}, body: "no: " + strings.Join(c.private, " ")}
			if answer.retryAfter != "" {
				a.header["Retry-After"] = answer.retryAfter
			}
			server := httptest.NewServer(a)
			where, err := url.Parse(server.URL)
			if err != nil {
				t.Fatal(err)
			}
			_, err = c.open(t, where, common()).Send(context.Background(), m)
			outcome, wait := Outcome(err)
			if err == nil || outcome != answer.outcome || wait != answer.wait {
				t.Errorf("%d, Retry-After %q: got %v, %s after %s; want %s after %s", answer.status, answer.retryAfter, err, outcome,
					wait, answer.outcome, answer.wait)
			}
			c.told(t, err)
			server.Close()
		}
	})
}

// A message that is tried twice can be known as one.
func TestEveryChannelKeepsTheKey(t *testing.T) {
	eachChannel(t, func(t *testing.T, c *contract, m Message) {
		if c.alone {
			ch := c.open(t, nil, common())
			folder := ch.(*Modem).Outbox
			for range 2 {
				if _, err := ch.Send(context.Background(), m); err != nil {
					t.Fatal(err)
				}
			}
			if files, err := os.ReadDir(folder); err != nil || len(files) != 1 {
				t.Errorf("got %d files of one message: %v", len(files), err)
			}
			return
		}
		if c.key == nil {
			t.Skip(c.keyless)
		}
		a := &answering{body: "completed"}
		server := httptest.NewServer(a)
		defer server.Close()
		where, err := url.Parse(server.URL)
		if err != nil {
			t.Fatal(err)
		}
		ch := c.open(t, where, common())
		for range 2 {
			if _, err := ch.Send(context.Background(), m); err != nil {
				t.Fatal(err)
			}
			if got := c.key(a.seen, a.got); got != m.Key {
				t.Errorf("got the key %q, want %q", got, m.Key)
			}
			if agent := a.seen.Header.Get("User-Agent"); agent != "thawline/test" {
				t.Errorf("the request calls the program %q", agent)
			}
		}
	})
}
