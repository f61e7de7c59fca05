package channel

import (
	"context"
	"crypto/aes"
	"crypto/cipher"
	"crypto/ecdh"
	"crypto/hkdf"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	webpush "github.com/SherClockHolmes/webpush-go"

	"thawline/alerts"
)

// browsers keeps subscriptions in memory.
type browsers struct {
	documents       []string
	dropped         []string
	private, public string
}

func (b *browsers) Subscriptions(context.Context, string) ([]string, error) { return b.documents, nil }
func (b *browsers) DropSubscription(_ context.Context, endpoint string) error {
	b.dropped = append(b.dropped, endpoint)
	return nil
}
func (b *browsers) PushKeys(context.Context) (string, string, error) { return b.private, b.public, nil }

// receiver is a browser: it decrypts as RFC 8291, section 3 and RFC 8188 say.
type receiver struct {
	key  *ecdh.PrivateKey
	auth []byte
}

func (r *receiver) open(t *testing.T, body []byte) string {
	t.Helper()
	salt, idLength := body[:16], int(body[20])
	if size := binary.BigEndian.Uint32(body[16:20]); int(size) < len(body)-21-idLength {
		t.Fatalf("record size %d", size)
	}
	sender, err := ecdh.P256().NewPublicKey(body[21 : 21+idLength])
	if err != nil {
		t.Fatal(err)
	}
	secret, err := r.key.ECDH(sender)
	if err != nil {
		t.Fatal(err)
	}
	derive := func(secret, salt []byte, info string, n int) []byte {
		out, err := hkdf.Key(sha256.New, secret, salt, info, n)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	ikm := derive(secret, r.auth, "WebPush: info\x00"+string(r.key.PublicKey().Bytes())+string(sender.Bytes()), 32)
	block, err := aes.NewCipher(derive(ikm, salt, "Content-Encoding: aes128gcm\x00", 16))
	if err != nil {
		t.Fatal(err)
	}
	gcm, err := cipher.NewGCM(block)
	if err != nil {
		t.Fatal(err)
	}
	plain, err := gcm.Open(nil, derive(ikm, salt, "Content-Encoding: nonce\x00", 12), body[21+idLength:], nil)
	if err != nil {
		t.Fatal(err)
	}
	text, _, found := strings.Cut(string(plain), "\x02")
	if !found {
		t.Fatal("no end of the last record")
	}
	return text
}

func TestWebPushIsReadByTheBrowserAlone(t *testing.T) {
	key, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	r := &receiver{key: key, auth: make([]byte, 16)}
	if _, err := rand.Read(r.auth); err != nil {
		t.Fatal(err)
	}
	status := http.StatusCreated
	var got string
	var header http.Header
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		body, _ := io.ReadAll(req.Body)
		header = req.Header
		if status == http.StatusCreated {
			got = r.open(t, body)
		}
		w.WriteHeader(status)
	}))
	defer server.Close()
	subscription := func(path string) string {
		document, err := json.Marshal(map[string]any{"endpoint": server.URL + path,
			"keys": map[string]string{"p256dh": base64.RawURLEncoding.EncodeToString(key.PublicKey().Bytes()),
				"auth": base64.RawURLEncoding.EncodeToString(r.auth)}})
		if err != nil {
			t.Fatal(err)
		}
		return string(document)
	}
	b := &browsers{documents: []string{subscription("/one")}}
	if b.private, b.public, err = webpush.GenerateVAPIDKeys(); err != nil {
		t.Fatal(err)
	}
	p := &WebPush{Client: server.Client(), Subscribers: b, Contact: "sugarhouse@example.org"}
	m := sample
	m.To, m.AckLink = "robin", "https://bush.example.org/a/1"
	if _, err := p.Send(context.Background(), m); err != nil {
		t.Fatal(err)
	}
	var body map[string]string
	if err := json.Unmarshal([]byte(strings.TrimRight(got, "\x00")), &body); err != nil || body["body"] != m.Text || body["tag"] != m.Key {
		t.Errorf("%v %q", err, got)
	}
	if header.Get("TTL") == "" || header.Get("Content-Encoding") != "aes128gcm" ||
		!strings.HasPrefix(header.Get("Authorization"), "vapid t=") {
		t.Errorf("%v", header)
	}

	for _, profile := range alerts.Profiles { // RFC 8030, section 5.3
		m.Kind = profile.Kind
		if _, err := p.Send(context.Background(), m); err != nil || header.Get("Urgency") != string(profile.Urgency) {
			t.Errorf("%s: %v, urgency %q, want %q", m.Kind, err, header.Get("Urgency"), profile.Urgency)
		}
	}

	for status2, want := range map[int]string{http.StatusGone: "refused", http.StatusTooManyRequests: "later",
		http.StatusBadRequest: "refused"} {
		status, b.dropped = status2, nil
		_, err := p.Send(context.Background(), m)
		if outcome, _ := Outcome(err); err == nil || outcome != want || (len(b.dropped) == 1) != (status2 == http.StatusGone) {
			t.Errorf("%d: %s %v, dropped %v", status2, outcome, err, b.dropped)
		}
	}
	b.documents = nil
	if _, err := p.Send(context.Background(), m); err == nil || !strings.Contains(err.Error(), "no browser has subscribed") {
		t.Error(err)
	}
}
