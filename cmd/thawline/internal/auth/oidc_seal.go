package auth

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"

	"golang.org/x/oauth2"
)

// A provider's tokens are sealed with the session's own token, of which the database has a
// hash alone: who reads the database can't use them, and only the browser that logged in
// opens them.

func sealOf(session string) (cipher.AEAD, error) {
	key := sha256.Sum256([]byte("thawline provider\x00" + session))
	block, err := aes.NewCipher(key[:])
	if err != nil || session == "" {
		return nil, errors.Join(errors.New("session: no key for the provider's tokens"), err)
	}
	return cipher.NewGCMWithRandomNonce(block)
}

func sealToken(session string, token *oauth2.Token) (string, error) {
	aead, err := sealOf(session)
	if err != nil {
		return "", err
	}
	plain, err := json.Marshal(token)
	if err != nil {
		return "", fmt.Errorf("session: %w", err)
	}
	return base64.StdEncoding.EncodeToString(aead.Seal(nil, nil, plain, nil)), nil
}

func openToken(session, sealed string) (*oauth2.Token, error) {
	aead, err := sealOf(session)
	if err != nil {
		return nil, err
	}
	closed, err := base64.StdEncoding.DecodeString(sealed)
	if err != nil {
		return nil, fmt.Errorf("session: %w", err)
	}
	plain, err := aead.Open(nil, nil, closed, nil)
	if err != nil {
		return nil, fmt.Errorf("session: %w", err)
	}
	token := &oauth2.Token{}
	if err := json.Unmarshal(plain, token); err != nil {
		return nil, fmt.Errorf("session: %w", err)
	}
	return token, nil
}
