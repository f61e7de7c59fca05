package channel

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// Ranges of the IANA registries of special-purpose addresses (RFC 6890), from
// memory: none of them is asked, by number or by a name that leads there.
func TestOpenInternetOnly(t *testing.T) {
	inside := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("asked a host of this machine") }))
	defer inside.Close()
	client := &http.Client{Transport: OpenInternet()}
	port := inside.URL[strings.LastIndex(inside.URL, ":"):]
	for _, host := range []string{"127.0.0.1", "localhost", "[::1]", "[::ffff:127.0.0.1]", "10.1.2.3", "172.16.0.1", "192.168.1.1",
		"169.254.169.254", "100.64.0.1", "[fe80::1]", "[fd00::1]", "0.0.0.0", "255.255.255.255"} {
		r, err := http.NewRequestWithContext(t.Context(), "GET", "http://"+host+port, nil)
		if err != nil {
			t.Fatal(err)
		}
		answer, err := client.Do(r)
		if err == nil {
			_ = answer.Body.Close()
		}
		if err == nil || !strings.Contains(err.Error(), "not on the open internet") {
			t.Errorf("%s: %v", host, err)
		}
	}
}
