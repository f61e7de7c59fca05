package channel

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/eclipse/paho.golang/paho"

	"thawline/forecast/secret"
)

// installed skips a test where a program is not there; CI installs all of them.
func installed(t *testing.T, name string) string {
	t.Helper()
	for _, dir := range []string{"", "/usr/sbin/"} {
		if path, err := exec.LookPath(dir + name); err == nil {
			return path
		}
	}
	t.Skipf("%s is not installed: not tried against the real one", name)
	return ""
}

func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = l.Close() }()
	_, port, _ := net.SplitHostPort(l.Addr().String())
	return port
}

// running starts a program and ends it with the test.
func running(t *testing.T, listens string, name string, args ...string) {
	t.Helper()
	cmd := exec.Command(name, args...)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	for end := time.Now().Add(15 * time.Second); listens != ""; time.Sleep(50 * time.Millisecond) {
		if conn, err := net.Dial("tcp", listens); err == nil {
			_ = conn.Close()
			return
		}
		if time.Now().After(end) {
			t.Fatalf("%s does not listen on %s", name, listens)
		}
	}
}

func written(t *testing.T, path, text string) string {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// eventually waits for a file below a folder whose content satisfies.
func eventually(t *testing.T, what string, pattern string, good func(data string) bool) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		files, _ := filepath.Glob(pattern)
		for _, f := range files {
			if data, err := os.ReadFile(f); err == nil && good(string(data)) {
				return
			}
		}
	}
	t.Errorf("%s did not come about", what)
}

// Through gammu-smsd with its dummy driver, as with a modem.
func TestModemThroughGammu(t *testing.T) {
	smsd := installed(t, "gammu-smsd")
	dir := t.TempDir()
	for _, d := range []string{"inbox", "outbox", "sent", "error", "dummy"} {
		if err := os.MkdirAll(filepath.Join(dir, d), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	rc := written(t, filepath.Join(dir, "smsdrc"), fmt.Sprintf(`[gammu]
model = dummy
connection = none
device = %[1]s/dummy
[smsd]
service = files
loopsleep = 1
checksecurity = 0
logfile = %[1]s/log
inboxpath = %[1]s/inbox/
outboxpath = %[1]s/outbox/
sentsmspath = %[1]s/sent/
errorsmspath = %[1]s/error/
`, dir))
	running(t, "", smsd, "-c", rc)
	m := sample
	m.Text = "Hill: Sap will run tomorrow, 10 am to 7 pm. Déjà 20 litres."
	if _, err := (&Modem{Outbox: filepath.Join(dir, "outbox")}).Send(context.Background(), m); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the sent message", filepath.Join(dir, "sent", "*0195abc*"), func(data string) bool {
		return strings.Contains(strings.ReplaceAll(data, "\x00", ""), "Sap will run tomorrow, 10 am to 7 pm")
	})
}

const certificate = `openssl req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=localhost -addext subjectAltName=DNS:localhost,IP:127.0.0.1`

// An SMTP server with TLS and a login: aiosmtpd of Debian.
func TestEmailThroughASMTPServer(t *testing.T) {
	installed(t, "aiosmtpd")
	installed(t, "openssl")
	python := "/usr/bin/python3"
	dir := t.TempDir()
	cut := strings.Fields(certificate)
	if out, err := exec.Command(cut[0], append(cut[1:], "-keyout", filepath.Join(dir, "key.pem"), "-out",
		filepath.Join(dir, "cert.pem"))...).CombinedOutput(); err != nil {
		t.Fatalf("%v %s", err, out)
	}
	port := freePort(t)
	server := written(t, filepath.Join(dir, "server.py"), fmt.Sprintf(`
import ssl, time
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, SMTP
class Box:
    async def handle_EHLO(self, server, session, envelope, hostname, responses):
        session.host_name = hostname
        open(%[1]q, "ab").write(b"X-Greeted-By: " + hostname.encode() + b"\n")
        return responses
    async def handle_RCPT(self, server, session, envelope, address, options):
        if address.startswith("full"):
            return "452 4.2.2 mailbox full"
        if address.startswith("nobody"):
            return "550 5.1.1 no such user"
        envelope.rcpt_tos.append(address)
        return "250 OK"
    async def handle_DATA(self, server, session, envelope):
        open(%[1]q, "ab").write(envelope.content + b"\n")
        return "250 kept"
def login(server, session, envelope, mechanism, data):
    return AuthResult(success=data.password == b"s3cret", handled=False)
context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
context.load_cert_chain(%[2]q, %[3]q)
class TLS(Controller):
    def factory(self):
        return SMTP(self.handler, tls_context=context, require_starttls=True, authenticator=login, auth_required=True)
TLS(Box(), hostname="127.0.0.1", port=%[4]s).start()
time.sleep(120)
`, filepath.Join(dir, "mail.txt"), filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem"), port))
	running(t, "127.0.0.1:"+port, python, server)
	var number int
	_, _ = fmt.Sscan(port, &number)
	e := &Email{EmailOptions: EmailOptions{Host: "127.0.0.1", Port: number, User: "sugarhouse", Password: secret.New("s3cret"),
		From: "sugarhouse@example.org", Hello: "sugarhouse.example.org"}, Insecure: true, Timeout: 5 * time.Second}
	m := sample
	m.To, m.AckLink = "robin@example.org", "https://bush.example.org/a/1"
	m.Picture = func() []byte { return []byte("\x89PNG") }
	if _, err := e.Send(context.Background(), m); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the mail", filepath.Join(dir, "mail.txt"), func(data string) bool {
		return strings.Contains(data, "X-Greeted-By: sugarhouse.example.org\n") &&
			strings.Contains(data, "Auto-Submitted: auto-generated") && strings.Contains(data, "<"+m.Key+"@example.org>") &&
			strings.Contains(data, "multipart/alternative") &&
			strings.Contains(strings.ReplaceAll(data, "=\r\n", ""), "cid:outlook.png") &&
			strings.Contains(strings.ToLower(data), "content-id: <outlook.png>") && strings.Contains(data, "https://bush.example.org/a/1")
	})
	// What a name or a note smuggles in stays text.
	m.Text, m.Name = "Bush\r\nBcc: eve@example.org\r\nX-Evil: 1. Sap runs.", "Bush\r\nBcc: eve@example.org"
	if _, err := e.Send(context.Background(), m); err != nil {
		t.Fatal(err)
	}
	eventually(t, "the other mail", filepath.Join(dir, "mail.txt"),
		func(data string) bool { return strings.Count(data, "Message-ID:") >= 2 })
	mails, err := os.ReadFile(filepath.Join(dir, "mail.txt"))
	if err != nil {
		t.Fatal(err)
	}
	last := string(mails)[strings.LastIndex(string(mails), "Message-ID:")-600:]
	head, _, _ := strings.Cut(last[strings.Index(last, "MIME-Version"):], "\r\n\r\n")
	if regexp.MustCompile(`(?m)^(Bcc|X-Evil):`).MatchString(head) {
		t.Errorf("a header was added:\n%s", head)
	}
	for to, want := range map[string]string{"full@example.org": "later", "nobody@example.org": "refused"} {
		m.To = to
		_, err := e.Send(context.Background(), m)
		if outcome, _ := Outcome(err); err == nil || outcome != want || strings.Contains(err.Error(), to) {
			t.Errorf("%s: %s, %v", to, outcome, err)
		}
	}
	m.To, e.Password = "robin@example.org", secret.New("wrong")
	_, err = e.Send(context.Background(), m)
	if outcome, _ := Outcome(err); err == nil || outcome != "refused" || strings.Contains(err.Error(), "wrong") {
		t.Errorf("a refused login: %s, %v", outcome, err)
	}
	e.Password, e.Insecure = secret.New("s3cret"), false
	if _, err := e.Send(context.Background(), m); err == nil {
		t.Error("a certificate of nobody's is taken")
	}
}

// Mosquitto keeps the alert for whoever comes later.
func TestMQTTThroughMosquitto(t *testing.T) {
	broker := installed(t, "mosquitto")
	dir := t.TempDir()
	port := freePort(t)
	running(t, "127.0.0.1:"+port, broker, "-c",
		written(t, filepath.Join(dir, "m.conf"), "listener "+port+" 127.0.0.1\nallow_anonymous true\n"))
	q := &MQTT{brokerAt(t, port, "sap/hill")}
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	if _, err := q.Send(ctx, sample); err != nil {
		t.Fatal(err)
	}
	conn, err := net.Dial("tcp", "127.0.0.1:"+port)
	if err != nil {
		t.Fatal(err)
	}
	got := make(chan *paho.Publish, 1)
	client := paho.NewClient(paho.ClientConfig{Conn: conn,
		OnPublishReceived: []func(paho.PublishReceived) (bool, error){func(p paho.PublishReceived) (bool, error) {
			got <- p.Packet
			return true, nil
		}}})
	if _, err := client.Connect(ctx, &paho.Connect{KeepAlive: 30, CleanStart: true}); err != nil {
		t.Fatal(err)
	}
	if _, err := client.Subscribe(ctx, &paho.Subscribe{Subscriptions: []paho.SubscribeOptions{{Topic: "sap/#", QoS: 1}}}); err != nil {
		t.Fatal(err)
	}
	select {
	case p := <-got:
		if p.Topic != "sap/hill/alert" || !p.Retain || !strings.Contains(string(p.Payload), sample.Key) {
			t.Errorf("%s %v %s", p.Topic, p.Retain, p.Payload)
		}
	case <-ctx.Done():
		t.Error("nothing was kept")
	}
	_ = client.Disconnect(&paho.Disconnect{})

	closed := freePort(t)
	if err := os.WriteFile(filepath.Join(dir, "pw"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	running(t, "127.0.0.1:"+closed, broker, "-c",
		written(t, filepath.Join(dir, "n.conf"), "listener "+closed+" 127.0.0.1\nallow_anonymous false\n"))
	login := &MQTT{brokerAt(t, closed, "sap")}
	login.User, login.Password = "x", secret.New("s3cret")
	_, err = login.Send(ctx, sample)
	if outcome, _ := Outcome(err); err == nil || outcome != "refused" || strings.Contains(err.Error(), "s3cret") {
		t.Errorf("a refused login: %s, %v", outcome, err)
	}
}
