package web

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"trivet/fault"
)

// Lifetimes of certificates. A leaf is renewed when a third of its life is
// left; a root too near its end is replaced by a new one, which devices have
// to be given anew. Clocks of tablets may be behind by backdate.
const (
	rootLife = 2 * 365 * 24 * time.Hour
	rootRest = 30 * 24 * time.Hour
	leafLife = 14 * 24 * time.Hour
	backdate = 24 * time.Hour
)

// privateNames and privateNets are all a kitchen's root can vouch for: names
// and addresses of networks at home (RFC 6762, RFC 8375, RFC 6761; RFC 1918,
// RFC 3927, RFC 4193, RFC 4291). Were its key stolen, nobody could pose with
// it as a site of the Internet.
var (
	privateNames = []string{"local", "home.arpa", "localhost"}
	privateNets  = mustNets("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8", "fc00::/7", "fe80::/10", "::1/128")
)

func mustNets(texts ...string) (out []*net.IPNet) {
	for _, text := range texts {
		_, n, err := net.ParseCIDR(text)
		if err != nil {
			panic(err)
		}
		out = append(out, n)
	}
	return out
}

// KitchenRoot is a certificate authority of one kitchen: it makes the
// certificates under which this server answers. Start with OpenKitchenRoot.
type KitchenRoot struct {
	Made bool // new: devices do not have it yet

	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	now  func() time.Time

	mu   sync.Mutex
	leaf map[string]*tls.Certificate // by the list of names
}

// RootFile is the name of the file that holds the root and its key.
const RootFile = "kitchen-root.pem"

// OpenKitchenRoot reads the root and its key from a folder, or makes them, for
// their owner's eyes alone. Errors: "root-key-open" when others can
// read the key, "root-corrupt", "root-io".
func OpenKitchenRoot(dir string, now func() time.Time) (*KitchenRoot, error) {
	k := &KitchenRoot{now: now, leaf: map[string]*tls.Certificate{}}
	err := k.read(dir)
	if err == nil && now().Add(rootRest).Before(k.cert.NotAfter) {
		return k, nil
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	if err := k.make(); err != nil {
		return nil, err
	}
	return k, k.write(dir)
}

func (k *KitchenRoot) read(dir string) error {
	path := filepath.Join(dir, RootFile)
	info, err := os.Stat(path)
	if err != nil {
		return rootIO(path, err)
	}
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
		return fault.New("root-key-open", "other users of this machine can read the key of the kitchen's certificate").In(path).On("mode", info.Mode().Perm().String()).
			WithFix("delete it, and take the old certificate off every device; a new one is then made")
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return rootIO(path, err)
	}
	key, text, err := fromPEM(path, text, "PRIVATE KEY", x509.ParsePKCS8PrivateKey)
	if err != nil {
		return err
	}
	cert, _, err := fromPEM(path, text, "CERTIFICATE", x509.ParseCertificate)
	if err != nil {
		return err
	}
	ec, ok := key.(*ecdsa.PrivateKey)
	if !ok || !ec.PublicKey.Equal(cert.PublicKey) || !cert.IsCA {
		return rootCorrupt(path, nil)
	}
	k.cert, k.key = cert, ec
	return nil
}

func rootIO(path string, err error) error {
	return fault.New("root-io", "the kitchen's certificate cannot be read or written").In(path).Wrap(err)
}

func rootCorrupt(path string, err error) error {
	return fault.New("root-corrupt", "the kitchen's certificate or its key is damaged").In(path).Wrap(err).
		WithFix("delete the file; a new certificate is then made, and each device has to be given it")
}

// fromPEM reads the first block of a text, and returns what follows it.
func fromPEM[T any](path string, text []byte, kind string, parse func([]byte) (T, error)) (v T, rest []byte, err error) {
	block, rest := pem.Decode(text)
	if block == nil || block.Type != kind {
		return v, nil, rootCorrupt(path, nil)
	}
	if v, err = parse(block.Bytes); err != nil {
		err = rootCorrupt(path, err)
	}
	return v, rest, err
}

func (k *KitchenRoot) make() error {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return err
	}
	now := k.now()
	serial := newSerial()
	t := &x509.Certificate{
		SerialNumber: serial,
		Subject:      pkix.Name{CommonName: "trivet kitchen root " + fmt.Sprintf("%x", serial.Bytes()[:3]), Organization: []string{"A kitchen's own, made by trivet"}},
		NotBefore:    now.Add(-backdate), NotAfter: now.Add(rootLife),
		IsCA: true, BasicConstraintsValid: true, MaxPathLenZero: true,
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageCRLSign, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		PermittedDNSDomainsCritical: true, PermittedDNSDomains: privateNames, PermittedIPRanges: privateNets,
	}
	der, err := x509.CreateCertificate(rand.Reader, t, t, key.Public(), key)
	if err != nil {
		return err
	}
	if k.cert, err = x509.ParseCertificate(der); err != nil {
		return err
	}
	k.key, k.Made = key, true
	return nil
}

// newSerial draws a positive serial number of 127 bits (RFC 5280, 4.1.2.2).
func newSerial() *big.Int {
	var b [16]byte
	rand.Read(b[:])
	b[0] = b[0]&0x7f | 0x40
	return new(big.Int).SetBytes(b[:])
}

func (k *KitchenRoot) write(dir string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return rootIO(dir, err)
	}
	der, err := x509.MarshalPKCS8PrivateKey(k.key)
	if err != nil {
		return err
	}
	text := pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der})
	text = append(text, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: k.cert.Raw})...)
	return writePrivate(filepath.Join(dir, RootFile), text)
}

// DER is the root as a device takes it in.
func (k *KitchenRoot) DER() []byte { return k.cert.Raw }

// Until is when the root ends.
func (k *KitchenRoot) Until() time.Time { return k.cert.NotAfter }

// Fingerprint is the SHA-256 of the root, as systems show it.
func (k *KitchenRoot) Fingerprint() string {
	sum := sha256.Sum256(k.cert.Raw)
	pairs := make([]string, len(sum))
	for i, b := range sum {
		pairs[i] = fmt.Sprintf("%02X", b)
	}
	return strings.Join(pairs, ":")
}

// VouchesFor tells whether the root may sign for a name or an address.
func VouchesFor(name string) bool {
	if ip := net.ParseIP(name); ip != nil {
		return slices.ContainsFunc(privateNets, func(n *net.IPNet) bool { return n.Contains(ip) })
	}
	return slices.ContainsFunc(privateNames, func(suffix string) bool {
		return name == suffix && suffix == "localhost" || strings.HasSuffix(name, "."+suffix)
	})
}

// TLSConfig serves under certificates for the names and addresses that names
// lists at the time; those the root does not vouch for are left out. A
// certificate is made anew when the names change or its time runs out, with
// no restart.
func (k *KitchenRoot) TLSConfig(names func() []string) *tls.Config {
	return &tls.Config{MinVersion: tls.VersionTLS12, NextProtos: []string{"h2", "http/1.1"},
		GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return k.leafFor(names()) }}
}

func (k *KitchenRoot) leafFor(names []string) (*tls.Certificate, error) {
	names = slices.DeleteFunc(slices.Clone(names), func(n string) bool { return !VouchesFor(n) })
	slices.Sort(names)
	names = slices.Compact(names)
	which := strings.Join(names, "\n")
	now := k.now()
	k.mu.Lock()
	defer k.mu.Unlock()
	if c := k.leaf[which]; c != nil && now.Add(leafLife/3).Before(c.Leaf.NotAfter) {
		return c, nil
	}
	if len(names) == 0 {
		return nil, fault.New("tls-names", "this machine has no name or address that the kitchen's certificate can vouch for")
	}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	t := &x509.Certificate{SerialNumber: newSerial(), Subject: pkix.Name{CommonName: "trivet in this kitchen"},
		NotBefore: now.Add(-backdate), NotAfter: now.Add(leafLife),
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, BasicConstraintsValid: true}
	if k.cert.NotAfter.Before(t.NotAfter) {
		t.NotAfter = k.cert.NotAfter
	}
	for _, n := range names {
		if ip := net.ParseIP(n); ip != nil {
			t.IPAddresses = append(t.IPAddresses, ip)
		} else {
			t.DNSNames = append(t.DNSNames, n)
		}
	}
	der, err := x509.CreateCertificate(rand.Reader, t, k.cert, key.Public(), k.key)
	if err != nil {
		return nil, err
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		return nil, err
	}
	clear(k.leaf) // of names this machine had before
	k.leaf[which] = &tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key, Leaf: leaf}
	return k.leaf[which], nil
}
