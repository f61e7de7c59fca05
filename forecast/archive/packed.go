package archive

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"io"
)

// packed is a value as compressed JSON.
func packed(value any) ([]byte, error) {
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	err := json.NewEncoder(z).Encode(value)
	err = errors.Join(err, z.Close()) // writes the rest
	return out.Bytes(), err
}

func unpacked(document []byte, into any) error {
	z, err := gzip.NewReader(bytes.NewReader(document))
	if err != nil {
		return err
	}
	text, err := io.ReadAll(z)
	if err != nil {
		return err
	}
	return json.Unmarshal(text, into)
}
