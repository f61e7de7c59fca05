package channel

import (
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"syscall"
	"time"
)

// OpenInternet is a transport for addresses that strangers may have chosen: it
// connects to no host of this machine or its own network, whatever a name
// resolves to, and goes through no proxy.
func OpenInternet() *http.Transport {
	dialer := &net.Dialer{Timeout: 10 * time.Second, Control: func(_, address string, _ syscall.RawConn) error {
		to, err := netip.ParseAddrPort(address)
		if err != nil {
			return fmt.Errorf("%s: not an address: %w", address, err)
		}
		if a := to.Addr().Unmap(); !a.IsGlobalUnicast() || a.IsPrivate() || shared.Contains(a) {
			return fmt.Errorf("%s is not on the open internet", a)
		}
		return nil
	}}
	return &http.Transport{DialContext: dialer.DialContext, ForceAttemptHTTP2: true, TLSHandshakeTimeout: 10 * time.Second,
		IdleConnTimeout: time.Minute}
}

// shared is the address space within providers' networks (RFC 6598).
var shared = netip.MustParsePrefix("100.64.0.0/10")
