package channel

import "crypto/tls"

// anyCertificate is for tests against a server with a certificate of its own
// making.
func anyCertificate(host string) *tls.Config {
	return &tls.Config{ServerName: host, MinVersion: tls.VersionTLS12, InsecureSkipVerify: true} //nolint:gosec // G402: of tests alone
}
