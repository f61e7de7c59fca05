package app

import (
	"bytes"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"thawline/alerts/channel"
	"thawline/config"
)

// An answer without end does not fill the memory.
func TestAnswersOfChannelsAreBounded(t *testing.T) {
	var sent int
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		for sent = 0; sent < 64<<20; sent += 1 << 16 {
			if _, err := w.Write(bytes.Repeat([]byte("x"), 1<<16)); err != nil {
				return
			}
		}
	}))
	defer server.Close()
	channels := OpenChannels("test", &config.Config{Channels: []config.Channel{{ID: "text",
		Options: &channel.GatewayOptions{URL: server.URL, Form: "to={to}&body={text}"}}}}, nil)
	if _, err := channels["text"].Send(t.Context(),
		channel.Message{To: "+18025550101", Text: "w", Until: time.Now().Add(time.Hour)}); err == nil {
		t.Error("taken for an answer")
	} else if outcome, _ := channel.Outcome(err); outcome != "later" {
		t.Error(outcome, err)
	}
	server.Close()
	if sent > 32<<20 {
		t.Errorf("%d MB were read", sent>>20)
	}
}
