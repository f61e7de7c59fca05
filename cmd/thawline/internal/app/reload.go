package app

import (
	"errors"
	"fmt"
	"strings"

	"thawline/cmd/thawline/internal/daemon"
	"thawline/config"
)

// mayReload refuses settings that a running daemon must not take over, though they
// check out: those that could only half come true, and those that a file which is
// cut short would bring about.
func mayReload(earlier, next *config.Config) error {
	return errors.Join(sameSocket(earlier, next), loginKept(earlier, next), somebodyTold(earlier, next))
}

// sameSocket refuses another address: the socket is opened once.
func sameSocket(earlier, next *config.Config) error {
	if earlier.Serve.Listen == next.Serve.Listen {
		return nil
	}
	return fmt.Errorf("serve.listen: %s instead of %s: the address can't change while thawline runs; put it back, or restart thawline",
		next.Serve.Listen, earlier.Serve.Listen)
}

// loginKept refuses to turn the login off, as far as that hangs on more than the
// address.
func loginKept(earlier, next *config.Config) error {
	was, now := AuthSettings(earlier), AuthSettings(next)
	now.Listen = was.Listen
	if !was.NeedsLogin() || now.NeedsLogin() {
		return nil
	}
	var keys []string
	if was.Link != now.Link {
		keys = append(keys, "serve.link")
	}
	if was.AlwaysLogin != now.AlwaysLogin {
		keys = append(keys, "serve.login")
	}
	return fmt.Errorf("%s: nobody would have to log in any more, and that can't change while thawline runs; put back what was there, or restart thawline", strings.Join(keys, ", "))
}

// somebodyTold refuses to drop everybody who gets messages.
func somebodyTold(earlier, next *config.Config) error {
	was, now := daemon.RecipientsOf(PeopleOf(earlier), len(earlier.Channels)), daemon.RecipientsOf(PeopleOf(next), len(next.Channels))
	if was.Reached == 0 || now.Reached > 0 {
		return nil
	}
	return fmt.Errorf("people: nobody would get messages any more (until now: %d); is the file cut short? Put back who was there, or restart thawline", was.Reached)
}
