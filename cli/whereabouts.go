package cli

import (
	"context"
	"net"
	"slices"
	"strconv"
	"sync"
	"time"

	"trivet/web"
)

// whereabouts knows by which names and addresses this machine is reached in
// its network, and notices when they change: another network was joined, or
// the router gave another address.
type whereabouts struct {
	plainPort, tlsPort int // tlsPort 0 without TLS
	names              func() (names, addresses []string)
	now                func() time.Time

	mu     sync.Mutex
	looked time.Time
	at     web.Where
}

// lookAgain is how long an answer is taken for true.
const lookAgain = 2 * time.Second

// where is how the machine is reached now.
func (w *whereabouts) where() web.Where {
	w.mu.Lock()
	defer w.mu.Unlock()
	now := w.now()
	if !w.looked.IsZero() && now.Sub(w.looked) < lookAgain && !now.Before(w.looked) {
		return w.at
	}
	names, addresses := w.names()
	next := web.Where{Hosts: names, PublicURL: "http://" + net.JoinHostPort(first(addresses), strconv.Itoa(w.plainPort)), Before: w.at.Before, Since: w.at.Since}
	if w.tlsPort != 0 {
		// Where no address can be vouched for, the lead is sent to this machine.
		private := slices.DeleteFunc(slices.Clone(addresses), func(a string) bool { return !web.VouchesFor(a) })
		next.SecureURL = "https://" + net.JoinHostPort(first(private), strconv.Itoa(w.tlsPort))
	}
	if w.at.PublicURL != "" && w.at.PublicURL != next.PublicURL {
		next.Before, next.Since = w.at.PublicURL, now
	}
	w.looked, w.at = now, next
	return next
}

func first(addresses []string) string {
	if len(addresses) == 0 {
		return "127.0.0.1"
	}
	return addresses[0]
}

// watch tells each change of address until the context ends.
func (w *whereabouts) watch(ctx context.Context, every time.Duration, tell func(web.Where)) {
	last := w.where()
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		if at := w.where(); at.PublicURL != last.PublicURL {
			last = at
			tell(at)
		}
	}
}

// tellMoved says on the terminal that the address has changed.
func (e *Env) tellMoved(at web.Where) {
	e.Tell("the address of this machine has changed: trivet is now at %s, and no longer at %s", at.PublicURL, at.Before)
	if at.SecureURL != "" {
		e.Tell("under TLS it is at %s; devices that have the kitchen's certificate need no new one", at.SecureURL)
	}
	e.Tell("links and codes handed out before lead to the old address: show them again, or give the machine its old address back")
}
