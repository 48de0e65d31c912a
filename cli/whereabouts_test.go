package cli

import (
	"context"
	"crypto/tls"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"trivet/web"
)

// The machine is given another address: it is known by the new name, links
// are printed with it, the certificate vouches for it, and people are told.
func TestAnotherAddressIsNoticed(t *testing.T) {
	clock := time.Date(2026, 11, 1, 9, 0, 0, 0, time.UTC)
	address := "192.168.1.20"
	w := &whereabouts{plainPort: 8137, tlsPort: 8138, now: func() time.Time { return clock },
		names: func() ([]string, []string) { return []string{"localhost", address}, []string{address} }}
	at := w.where()
	if at.PublicURL != "http://192.168.1.20:8137" || at.SecureURL != "https://192.168.1.20:8138" || at.Before != "" {
		t.Fatalf("at first %+v", at)
	}
	address = "10.0.0.7"
	if got := w.where(); got.PublicURL != at.PublicURL {
		t.Errorf("asked again at once, the machine was looked at again: %+v", got)
	}
	clock = clock.Add(lookAgain)
	got := w.where()
	if got.PublicURL != "http://10.0.0.7:8137" || got.SecureURL != "https://10.0.0.7:8138" || got.Before != "http://192.168.1.20:8137" || !got.Since.Equal(clock) || !slices.Contains(got.Hosts, "10.0.0.7") {
		t.Errorf("after the change %+v", got)
	}
	clock = clock.Add(time.Hour)
	if still := w.where(); still.Before != got.Before || !still.Since.Equal(got.Since) {
		t.Errorf("an hour later %+v", still)
	}

	root, err := web.OpenKitchenRoot(t.TempDir(), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	config := root.TLSConfig(func() []string { return w.where().Hosts })
	for _, a := range []string{"10.0.0.7", "172.16.3.4"} {
		address, clock = a, clock.Add(lookAgain)
		leaf, err := config.GetCertificate(&tls.ClientHelloInfo{})
		if err != nil {
			t.Fatal(err)
		}
		if err := leaf.Leaf.VerifyHostname(a); err != nil {
			t.Errorf("at %s: %v", a, err)
		}
	}

	// A machine without a network is reached on itself.
	w.names = func() ([]string, []string) { return []string{"localhost", "127.0.0.1"}, nil }
	clock = clock.Add(lookAgain)
	if at := w.where(); at.PublicURL != "http://127.0.0.1:8137" {
		t.Errorf("without a network %+v", at)
	}
}

func TestAChangeOfAddressIsToldOnce(t *testing.T) {
	var minutes atomic.Int64 // every look is a minute after the one before
	var moved atomic.Bool
	w := &whereabouts{plainPort: 80, now: func() time.Time { return time.Unix(60*minutes.Add(1), 0) },
		names: func() ([]string, []string) {
			if moved.Load() {
				return nil, []string{"10.0.0.7"}
			}
			return nil, []string{"192.168.1.20"}
		}}
	ctx, stop := context.WithCancel(t.Context())
	told, done := make(chan web.Where, 100), make(chan struct{})
	go func() { w.watch(ctx, time.Millisecond, func(x web.Where) { told <- x }); close(done) }()
	for minutes.Load() < 5 { // it has looked a few times
		time.Sleep(time.Millisecond)
	}
	if len(told) > 0 {
		t.Error("told without a change")
	}
	moved.Store(true)
	if x := <-told; x.PublicURL != "http://10.0.0.7:80" || x.Before != "http://192.168.1.20:80" {
		t.Errorf("told %+v", x)
	}
	for until := minutes.Load() + 5; minutes.Load() < until; {
		time.Sleep(time.Millisecond)
	}
	stop()
	<-done
	if len(told) > 0 {
		t.Errorf("told %d times more", len(told))
	}
}
