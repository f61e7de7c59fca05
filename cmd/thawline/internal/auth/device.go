package auth

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"net/http"
	"strings"
	"time"
)

// deviceCookie names what a browser keeps by which it is known again after the session
// has ended: tries on it are not slowed by what others do.
const deviceCookie = "thawline_device"

// deviceLife is how long a device is known after a login: until the second season.
const deviceLife = 400 * 24 * time.Hour

// deviceOf is what a request's device is known by for a person, "" where it is not. It
// lets nobody in.
func (g *Service) deviceOf(ctx context.Context, r *http.Request, person string) string {
	for _, c := range r.CookiesNamed(deviceCookie) {
		id, mac, _ := strings.Cut(c.Value, ".")
		until, _, _ := strings.Cut(id, "-")
		ends, err := time.Parse("20060102", until)
		want, failed := g.deviceMAC(ctx, id, person)
		if err == nil && failed == nil && g.now().Before(ends) && hmac.Equal([]byte(mac), []byte(want)) {
			return id
		}
	}
	return ""
}

func (g *Service) deviceMAC(ctx context.Context, id, person string) (string, error) {
	key, err := g.secret(ctx)
	if err != nil {
		return "", fmt.Errorf("device: %w", err)
	}
	mac := hmac.New(sha256.New, key)
	mac.Write([]byte("device\x00" + id + "\x00" + person))
	return base64.RawURLEncoding.EncodeToString(mac.Sum(nil)[:16]), nil
}

// rememberDevice gives the browser what it is known again by.
func (g *Service) rememberDevice(w http.ResponseWriter, r *http.Request, person string) error {
	s := g.state.Load()
	ends := g.now().Add(deviceLife)
	id := ends.UTC().Format("20060102") + "-" + rand.Text()
	mac, err := g.deviceMAC(r.Context(), id, person)
	if err != nil {
		return err
	}
	http.SetCookie(w, &http.Cookie{Name: deviceCookie, Value: id + "." + mac, Path: s.base() + "/", Expires: ends, HttpOnly: true,
		Secure: s.secure(), SameSite: http.SameSiteLaxMode})
	return nil
}
