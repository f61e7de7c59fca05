package members

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"thawline/config"
	"thawline/forecast/secret"
)

// seal closes and opens numbers with a key that stands outside the database. Each is
// bound to the member whose it is, so that no row's can be put into another's.
type seal struct {
	aead cipher.AEAD
	name string // by which what was closed tells the key
}

// NewKey makes a key, in the form that the settings take.
func NewKey() (string, error) {
	key := make([]byte, config.MembersKeyBytes)
	if _, err := rand.Read(key); err != nil {
		return "", fmt.Errorf("key: %w", err)
	}
	return base64.StdEncoding.EncodeToString(key), nil
}

// seals are the keys of the settings, parted by spaces: the first closes, and all open.
type seals []*seal

func newSeals(keys secret.Text) (out seals, err error) {
	for _, key := range strings.Fields(keys.Reveal()) {
		one, err := newSeal(key)
		if err != nil {
			return nil, err
		}
		out = append(out, one)
	}
	return out, nil
}

func newSeal(key string) (*seal, error) {
	raw, err := base64.StdEncoding.DecodeString(key)
	if err != nil || len(raw) != config.MembersKeyBytes {
		return nil, errors.New("members_key: not a key of 32 bytes in base64")
	}
	block, err := aes.NewCipher(raw)
	if err != nil {
		return nil, fmt.Errorf("members_key: %w", err)
	}
	aead, err := cipher.NewGCMWithRandomNonce(block)
	if err != nil {
		return nil, fmt.Errorf("members_key: %w", err)
	}
	sum := sha256.Sum256(append([]byte("thawline members key\x00"), raw...))
	return &seal{aead, hex.EncodeToString(sum[:4])}, nil
}

func (k seals) close(of string, phone, email secret.Text) (string, error) {
	return k[0].close(of, phone, email)
}

func (k seals) open(of, sealed string) (phone, email secret.Text, err error) {
	for _, one := range k {
		if name, _, _ := strings.Cut(sealed, ":"); name == one.name {
			return one.open(of, sealed)
		}
	}
	return k[0].open(of, sealed)
}

type contents struct {
	Phone string `json:"phone,omitempty"`
	Email string `json:"email,omitempty"`
}

// close returns "" where there is nothing to seal.
func (s *seal) close(of string, phone, email secret.Text) (string, error) {
	if !phone.Given() && !email.Given() {
		return "", nil
	}
	plain, err := json.Marshal(contents{phone.Reveal(), email.Reveal()})
	if err != nil {
		return "", fmt.Errorf("seal: %w", err)
	}
	sealed := s.aead.Seal(nil, nil, plain, []byte(of)) //nolint:gosec // G407: the cipher draws a nonce itself
	return s.name + ":" + base64.StdEncoding.EncodeToString(sealed), nil
}

func (s *seal) open(of, sealed string) (phone, email secret.Text, err error) {
	if sealed == "" {
		return phone, email, nil
	}
	name, text, _ := strings.Cut(sealed, ":")
	if name != s.name {
		return phone, email, fmt.Errorf("sealed with another key (%s, not %s): name that one with members_key_file", name, s.name)
	}
	closed, err := base64.StdEncoding.DecodeString(text)
	if err != nil {
		return phone, email, errors.New("what is sealed is damaged")
	}
	plain, err := s.aead.Open(nil, nil, closed, []byte(of))
	if err != nil {
		return phone, email, errors.New("what is sealed is damaged, or another member's")
	}
	var c contents
	if err := json.Unmarshal(plain, &c); err != nil {
		return phone, email, errors.New("what is sealed is damaged")
	}
	return secret.New(c.Phone), secret.New(c.Email), nil
}
