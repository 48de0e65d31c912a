package tasting

import (
	"bytes"
	"crypto/cipher"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"

	"github.com/gowebpki/jcs"
	"golang.org/x/crypto/argon2"
	"golang.org/x/crypto/chacha20poly1305"

	"trivet/fault"
)

// Lock is what is published of a key before closing:
// SHA-256(256-bit salt ‖ RFC 8785 canonical JSON of the key), hexadecimal.
type Lock struct {
	Tasting    string `json:"tasting"`
	Commitment string `json:"commitment"`
}

// LockKey draws a salt from a cryptographic source and returns the lock and
// the salt, which is secret like the key.
func LockKey(k *Key, random io.Reader) (Lock, string, error) {
	salt, err := newSecret(random, "salt")
	if err != nil {
		return Lock{}, "", err
	}
	c, err := commitment(k, salt)
	if err != nil {
		return Lock{}, "", err
	}
	return Lock{Tasting: k.Tasting, Commitment: c}, salt, nil
}

// Verify tells whether a revealed key and salt are those locked: nil, or an
// error with code "key-mismatch".
func (l Lock) Verify(k *Key, salt string) error {
	c, err := commitment(k, salt)
	if err != nil {
		return err
	}
	if subtle.ConstantTimeCompare([]byte(c), []byte(l.Commitment)) != 1 || k.Tasting != l.Tasting {
		return fault.New("key-mismatch", "the key is not the one that was locked before the tasting").
			On("commitment", c).WithFix("look for the untouched key; a tasting scored with another key proves nothing")
	}
	return nil
}

// CanonicalKey is the RFC 8785 form of a key.
func CanonicalKey(k *Key) ([]byte, error) {
	b, err := json.Marshal(k)
	if err != nil {
		return nil, err
	}
	return jcs.Transform(b)
}

func commitment(k *Key, salt string) (string, error) {
	s, err := hex.DecodeString(salt)
	if err != nil || len(s) != 32 {
		return "", fault.New("salt-shape", "the salt is not 256 bits in hexadecimal").WithFix("use the salt drawn when the key was locked")
	}
	b, err := CanonicalKey(k)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(append(s, b...))
	return hex.EncodeToString(sum[:]), nil
}

// VerifyDeal deals again from the revealed seed and tells whether the result
// is the key: nil, or an error with code "deal-mismatch".
func VerifyDeal(setup Setup, k *Key) error {
	again, _, err := Deal(setup, k.Seed)
	if err != nil {
		return err
	}
	a, err := CanonicalKey(again)
	if err != nil {
		return err
	}
	b, err := CanonicalKey(k)
	if err != nil {
		return err
	}
	if string(a) != string(b) {
		return fault.New("deal-mismatch", "dealing again from the seed gives another key: orders or codes were changed by hand or the setup is not the one used").
			WithFix("give the setup exactly as it was, or report the change")
	}
	return nil
}

// SealedKey is a key and its salt encrypted to the lead's passphrase, the
// only form in which they leave the notebook before closing: argon2id (RFC
// 9106) and XChaCha20-Poly1305, the lock bound in as additional data.
type SealedKey struct {
	Format    int    `json:"format"`
	Lock      Lock   `json:"lock"`
	KDF       string `json:"kdf"`
	Time      uint32 `json:"time"`
	MemoryKiB uint32 `json:"memory_kib"`
	Threads   uint8  `json:"threads"`
	Salt      []byte `json:"salt"`
	Nonce     []byte `json:"nonce"`
	Box       []byte `json:"box"`
}

type opened struct {
	Key  *Key   `json:"key"`
	Salt string `json:"salt"`
}

// SealKey encrypts a key and its salt. The argon2id cost is the second
// recommended option of RFC 9106, section 4: 3 passes over 64 MiB, 4 lanes.
// A passphrase under 10 characters is refused, code "passphrase-short".
func SealKey(l Lock, k *Key, salt, passphrase string, random io.Reader) (*SealedKey, error) {
	if err := l.Verify(k, salt); err != nil {
		return nil, err
	}
	if len([]rune(passphrase)) < 10 {
		return nil, fault.New("passphrase-short", "the passphrase is shorter than 10 characters").WithFix("use several words")
	}
	plain, err := json.Marshal(opened{k, salt})
	if err != nil {
		return nil, err
	}
	if plain, err = padded(plain, k, salt); err != nil {
		return nil, err
	}
	s := &SealedKey{Format: 1, Lock: l, KDF: "argon2id", Time: 3, MemoryKiB: 64 * 1024, Threads: 4,
		Salt: make([]byte, 16), Nonce: make([]byte, chacha20poly1305.NonceSizeX)}
	for _, b := range [][]byte{s.Salt, s.Nonce} {
		if _, err := io.ReadFull(random, b); err != nil {
			return nil, (&fault.Error{Kind: fault.Internal, Code: "random", Message: "could not draw a nonce"}).Wrap(err)
		}
	}
	box, err := s.cipher(passphrase)
	if err != nil {
		return nil, err
	}
	s.Box = box.Seal(nil, s.Nonce, plain, s.bound())
	return s, nil
}

// padded fills a key up with blanks to the length it would have if every cup
// held what takes most room to write. Otherwise the length of the sealed key
// would tell how many cups of each product an incomplete block came to have.
func padded(plain []byte, k *Key, salt string) ([]byte, error) {
	longest := func(a, b string) string {
		x, errA := json.Marshal(a)
		y, errB := json.Marshal(b)
		if errA == nil && errB == nil && len(x) >= len(y) {
			return a
		}
		return b
	}
	wide := Cup{Code: "999", Portion: 9999}
	for _, p := range k.Products {
		wide.Product = longest(wide.Product, p)
	}
	for _, s := range k.Sets {
		for _, c := range s.Cups {
			wide.Piece, wide.Portion = longest(wide.Piece, c.Piece), max(wide.Portion, c.Portion)
		}
		if s.Reference != nil {
			wide.Piece, wide.Portion = longest(wide.Piece, s.Reference.Piece), max(wide.Portion, s.Reference.Portion)
		}
	}
	full := *k
	full.Sets = make([]Set, len(k.Sets))
	for i, s := range k.Sets {
		s.Cups = make([]Cup, len(s.Cups))
		for j := range s.Cups {
			s.Cups[j] = wide
		}
		if s.Reference != nil {
			s.Reference = &wide
		}
		full.Sets[i] = s
	}
	most, err := json.Marshal(opened{&full, salt})
	if err != nil {
		return nil, err
	}
	return append(plain, bytes.Repeat([]byte(" "), len(most)-len(plain))...), nil
}

// Open decrypts a sealed key and verifies it against its lock. A wrong
// passphrase or a changed file is code "key-locked".
func (s *SealedKey) Open(passphrase string) (*Key, string, error) {
	// Costs come from a file: a hostile one must not eat the machine.
	if s.Format != 1 || s.KDF != "argon2id" || s.Time < 1 || s.Time > 16 || s.MemoryKiB < 8*1024 || s.MemoryKiB > 1024*1024 || s.Threads < 1 || len(s.Nonce) != chacha20poly1305.NonceSizeX || len(s.Salt) < 8 {
		return nil, "", fault.New("key-corrupt", "the sealed key is not in a form this version opens").WithFix("use the file as it was exported")
	}
	box, err := s.cipher(passphrase)
	if err != nil {
		return nil, "", err
	}
	plain, err := box.Open(nil, s.Nonce, s.Box, s.bound())
	if err != nil {
		return nil, "", fault.New("key-locked", "the passphrase does not open this key, or the file was changed").WithFix("ask the lead of the tasting")
	}
	var o opened
	if err := json.Unmarshal(plain, &o); err != nil || o.Key == nil {
		return nil, "", fault.New("key-corrupt", "the opened key cannot be read")
	}
	if err := s.Lock.Verify(o.Key, o.Salt); err != nil {
		return nil, "", err
	}
	return o.Key, o.Salt, nil
}

func (s *SealedKey) cipher(passphrase string) (cipher.AEAD, error) {
	return chacha20poly1305.NewX(argon2.IDKey([]byte(passphrase), s.Salt, s.Time, s.MemoryKiB, s.Threads, chacha20poly1305.KeySize))
}

func (s *SealedKey) bound() []byte {
	return []byte(fmt.Sprintf("trivet tasting key %d %s %s", s.Format, s.Lock.Tasting, s.Lock.Commitment))
}
