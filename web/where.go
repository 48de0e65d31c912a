package web

import "time"

// Where is how a server is reached. It changes when its machine joins another
// network, or is given another address in its own.
type Where struct {
	// Hosts are the host names, without port, by which the server may be
	// asked for. Any other name is refused, so that a page elsewhere cannot
	// reach a kitchen's server by pointing its own name here.
	Hosts []string
	// PublicURL is printed in links and QR codes, such as
	// http://192.168.1.20:8137; empty takes the address of the request.
	PublicURL string
	// SecureURL is where the same server answers under TLS, such as
	// https://192.168.1.20:8138; empty means nowhere.
	SecureURL string
	// Before is the PublicURL until Since, "" if it never changed: links
	// handed out before lead there.
	Before string
	Since  time.Time
}

// where is how the server is reached now.
func (o Options) where() Where {
	if o.Where != nil {
		return o.Where()
	}
	hosts := o.Hosts
	if len(hosts) == 0 {
		hosts = []string{"localhost", "127.0.0.1", "::1"}
	}
	return Where{Hosts: hosts, PublicURL: o.PublicURL, SecureURL: o.SecureURL}
}
