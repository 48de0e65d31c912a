package bench

import (
	"crypto/cipher"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"io"
	"maps"

	"golang.org/x/crypto/chacha20poly1305"

	"trivet/fault"
	"trivet/tasting"
)

// Place is what a link opens: a role at a tasting and, for an assessor, the
// seat.
type Place struct {
	Role tasting.Role `json:"role"`
	Seat string       `json:"seat,omitempty"` // an assessor's pseudonym
}

// links makes the links of a tasting from one 256-bit secret. The notebook
// holds only hashes of the links; the secret is encrypted under the tasting's
// seed, which is encrypted to the lead's passphrase.
type links struct{ secret []byte }

// tokenBytes is the length of a link's random part: 144 bits.
const tokenBytes = 18

func newLinks(random io.Reader) (links, error) {
	l := links{make([]byte, 32)}
	if _, err := io.ReadFull(random, l.secret); err != nil {
		return links{}, (&fault.Error{Kind: fault.Internal, Code: "random", Message: "could not draw the secret of the links"}).Wrap(err)
	}
	return l, nil
}

// token is the random part of a place's link.
func (l links) token(p Place) string {
	m := hmac.New(sha256.New, l.secret)
	m.Write([]byte("trivet link\n" + string(p.Role) + "\n" + p.Seat))
	return base64.RawURLEncoding.EncodeToString(m.Sum(nil)[:tokenBytes])
}

// LinkHash is the form in which a link is kept and looked up.
func LinkHash(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

// lockedTasting is the encrypted part of a stored session: the key under the
// lead's passphrase, the secret of the links under the key's seed.
type lockedTasting struct {
	Format int                `json:"format"`
	Key    *tasting.SealedKey `json:"key"`
	Nonce  []byte             `json:"nonce"`
	Links  []byte             `json:"links"`
}

func lockTasting(sealed *tasting.SealedKey, seed string, l links, random io.Reader) ([]byte, error) {
	out := lockedTasting{Format: 1, Key: sealed, Nonce: make([]byte, chacha20poly1305.NonceSizeX)}
	if _, err := io.ReadFull(random, out.Nonce); err != nil {
		return nil, (&fault.Error{Kind: fault.Internal, Code: "random", Message: "could not draw a nonce"}).Wrap(err)
	}
	box, err := linkBox(seed)
	if err != nil {
		return nil, err
	}
	out.Links = box.Seal(nil, out.Nonce, l.secret, []byte(sealed.Lock.Commitment))
	return json.Marshal(out)
}

func unlockTasting(locked []byte, passphrase string) (*tasting.Key, string, links, error) {
	corrupt := func(err error) error {
		return fault.New("key-corrupt", "the locked key of the tasting cannot be read").Wrap(err).WithFix("go back to an untouched copy of the notebook")
	}
	var in lockedTasting
	if err := json.Unmarshal(locked, &in); err != nil || in.Key == nil {
		return nil, "", links{}, corrupt(err)
	}
	key, salt, err := in.Key.Open(passphrase)
	if err != nil {
		return nil, "", links{}, err
	}
	box, err := linkBox(key.Seed)
	if err != nil {
		return nil, "", links{}, err
	}
	if len(in.Nonce) != box.NonceSize() {
		return nil, "", links{}, corrupt(nil)
	}
	secret, err := box.Open(nil, in.Nonce, in.Links, []byte(in.Key.Lock.Commitment))
	if err != nil {
		return nil, "", links{}, corrupt(err)
	}
	return key, salt, links{secret}, nil
}

func linkBox(seed string) (cipher.AEAD, error) {
	key, err := hkdf.Key(sha256.New, []byte(seed), nil, "trivet tasting links", chacha20poly1305.KeySize)
	if err != nil {
		return nil, err
	}
	return chacha20poly1305.NewX(key)
}

// Links lists the places of a tasting by the hash of their links, which opens
// nothing.
func (t *Tasting) Links() map[string]Place { return maps.Clone(t.places) }
