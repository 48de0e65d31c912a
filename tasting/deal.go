package tasting

import (
	"encoding/binary"
	"encoding/hex"
	"io"

	"github.com/google/uuid"

	"trivet/fault"
	"trivet/stats"
)

// Setup is what a tasting is dealt from: nothing in it is secret.
type Setup struct {
	Method    string     `json:"method"`
	Products  []Product  `json:"products"`
	Assessors []Assessor `json:"assessors"`       // those who will be served: see Eligible
	Rounds    int        `json:"rounds"`          // sets for each assessor; 0 means 1
	Waves     []Wave     `json:"waves,omitempty"` // pieces to carve, in the order they are cut; none: pieces are not tracked
	// LikeApart takes the like samples of a set from different pieces where a
	// wave has them; otherwise they come from one piece.
	LikeApart bool `json:"like_apart,omitempty"`
}

// Wave is a group of pieces cut and served together: one block's pieces of
// each product.
type Wave struct {
	Block    string     `json:"block"`
	Pieces   [][]string `json:"pieces"`   // labels, by product in the order of Setup.Products
	Portions int        `json:"portions"` // carved from each piece
	Sets     int        `json:"sets"`     // most trays before the next wave is cut; 0: trays are spread evenly over the waves
}

// Key says what is in every cup. It is secret until the tasting is closed.
type Key struct {
	Format   int      `json:"format"`
	Tasting  string   `json:"tasting"` // random id
	Method   string   `json:"method"`
	Seed     string   `json:"seed"` // 256 bits, hexadecimal; the key can be dealt again from it
	Products []string `json:"products"`
	Sets     []Set    `json:"sets"` // in serving order
}

// KeyFormat is the version of Key written here.
const KeyFormat = 1

// Set is one tray: what one assessor tastes before one ballot.
type Set struct {
	ID        string `json:"id"` // random id
	Tray      int    `json:"tray"`
	Assessor  string `json:"assessor"`
	Round     int    `json:"round"`
	Wave      int    `json:"wave"` // from 1; 0 when pieces are not tracked
	Reference *Cup   `json:"reference,omitempty"`
	Cups      []Cup  `json:"cups"` // left to right
}

// Cup is one portion. The reference cup of a duo-trio set has no code.
type Cup struct {
	Code    string `json:"code"`
	Product string `json:"product"`
	Piece   string `json:"piece"`
	Portion int    `json:"portion"` // place in the piece, from 1
}

// NewSeed draws 256 bits from a cryptographic source, in hexadecimal.
func NewSeed(random io.Reader) (string, error) { return newSecret(random, "seed") }

func newSecret(random io.Reader, what string) (string, error) {
	var b [32]byte
	if _, err := io.ReadFull(random, b[:]); err != nil {
		return "", (&fault.Error{Kind: fault.Internal, Code: "random", Message: "could not draw the " + what}).Wrap(err)
	}
	return hex.EncodeToString(b[:]), nil
}

// Deal draws orders, codes and portions from a seed. The same setup and seed
// give the same key, bit for bit.
//
// In every round the method's balanced block is repeated to cover the
// assessors and shuffled inside each block; an incomplete last block is a
// random part of one, and a note says which numbers would balance. Each
// round is drawn by itself, so an assessor's earlier sets say nothing of the
// later ones. Sets are served in an order shuffled within the round.
func Deal(setup Setup, seed string) (*Key, []fault.Note, error) {
	m, err := Lookup(setup.Method)
	if err != nil {
		return nil, nil, err
	}
	block, err := m.Block(len(setup.Products))
	if err != nil {
		return nil, nil, err
	}
	if err := setup.check(seed); err != nil {
		return nil, nil, err
	}
	rounds := max(1, setup.Rounds)
	ids := idReader{stats.NewStream(seed, "tasting ids", 0)}
	tasting, err := uuid.NewRandomFromReader(ids)
	if err != nil {
		return nil, nil, err
	}
	key := &Key{Format: KeyFormat, Tasting: tasting.String(), Method: m.Describe().Name, Seed: seed}
	for _, p := range setup.Products {
		key.Products = append(key.Products, p.ID)
	}
	codes := newCodeDealer(stats.NewStream(seed, "tasting codes", 0))
	carver := newCarver(setup, stats.NewStream(seed, "tasting portions", 0))
	n := len(setup.Assessors)
	for round := 1; round <= rounds; round++ {
		orders := stats.NewStream(seed, "tasting orders", uint64(round))
		sets := dealBlocks(orders, block, n)
		seats := make([]int, n)
		for i := range seats {
			seats[i] = i
		}
		stats.Shuffle(orders, seats)
		for i, seat := range seats {
			s := Set{Tray: len(key.Sets) + 1, Assessor: setup.Assessors[seat].ID, Round: round}
			id, err := uuid.NewRandomFromReader(ids)
			if err != nil {
				return nil, nil, err
			}
			s.ID = id.String()
			labels, err := codes.set(s.Assessor, len(sets[i].Cups))
			if err != nil {
				return nil, nil, err
			}
			if err := carver.fill(&s, sets[i], labels); err != nil {
				return nil, nil, err
			}
			key.Sets = append(key.Sets, s)
		}
	}
	var notes []fault.Note
	if n%len(block) != 0 {
		lower := n / len(block) * len(block)
		notes = append(notes, fault.Notef("orders-unbalanced", "%d assessors do not fill blocks of %d orders, so some orders are served once more than others: %s assessors would balance them", n, len(block), orJoin(lower, lower+len(block))))
	}
	if rounds > 1 {
		notes = append(notes, fault.Notef("replicated", "each assessor answers %d times: the tasting speaks for these %d assessors first", rounds, n))
	}
	notes = append(notes, carver.notes()...)
	return key, notes, nil
}

func (s Setup) check(seed string) error {
	if b, err := hex.DecodeString(seed); err != nil || len(b) != 32 {
		return fault.New("seed-shape", "the seed is not 256 bits in hexadecimal").WithFix("draw it with NewSeed")
	}
	if len(s.Assessors) == 0 {
		return fault.New("assessors-none", "there is nobody to serve").WithFix("add assessors who have consented and can eat the products")
	}
	if s.Rounds < 0 || s.Rounds > 50 {
		return fault.New("rounds-range", "%d sets for each assessor", s.Rounds).WithFix("between 1 and 50")
	}
	seen := map[string]bool{}
	for i, a := range s.Assessors {
		if a.ID == "" || seen[a.ID] {
			return fault.New("assessor-id", "assessor %d has no pseudonym of their own", i+1).On("assessor", a.ID).WithFix("give each assessor a different pseudonym")
		}
		seen[a.ID] = true
	}
	seen = map[string]bool{}
	for i, p := range s.Products {
		if p.ID == "" || seen[p.ID] {
			return fault.New("product-id", "product %d has no name of its own", i+1).On("product", p.ID).WithFix("give each product a different name")
		}
		seen[p.ID] = true
	}
	return nil
}

// dealBlocks returns n sets: whole blocks, each shuffled, and a random part
// of one.
func dealBlocks(stream *stats.Stream, block []Serving, n int) []Serving {
	var out []Serving
	for len(out) < n {
		b := append([]Serving{}, block...)
		stats.Shuffle(stream, b)
		out = append(out, b[:min(len(b), n-len(out))]...)
	}
	return out
}

// idReader turns a stream into the bytes of version 4 ids.
type idReader struct{ s *stats.Stream }

func (r idReader) Read(p []byte) (int, error) {
	var b [8]byte
	for i := 0; i < len(p); i += 8 {
		binary.LittleEndian.PutUint64(b[:], r.s.Uint64())
		copy(p[i:], b[:])
	}
	return len(p), nil
}

// carver hands out portions, wave by wave, at random within a piece so that
// the place in a piece does not follow the place on a tray.
type carver struct {
	setup  Setup
	stream *stats.Stream
	wave   int
	served int                // trays of the open wave
	most   int                // trays it may serve
	total  int                // trays to come, the open wave's included
	left   []map[string][]int // by product: piece → portions not yet given
}

func newCarver(s Setup, stream *stats.Stream) *carver {
	c := &carver{setup: s, stream: stream, wave: -1, total: len(s.Assessors) * max(1, s.Rounds)}
	c.next()
	return c
}

// next opens the following wave.
func (c *carver) next() bool {
	if c.wave+1 >= len(c.setup.Waves) {
		return false
	}
	c.wave++
	c.total -= c.served
	c.served = 0
	w := c.setup.Waves[c.wave]
	left := len(c.setup.Waves) - c.wave
	if c.most = w.Sets; c.most == 0 {
		c.most = (c.total + left - 1) / left
	}
	c.left = nil
	for p := range c.setup.Products {
		pieces := map[string][]int{}
		if p < len(w.Pieces) {
			for _, label := range w.Pieces[p] {
				for i := range w.Portions {
					pieces[label] = append(pieces[label], i+1)
				}
				stats.Shuffle(c.stream, pieces[label])
			}
		}
		c.left = append(c.left, pieces)
	}
	return true
}

// fill puts portions and codes on a tray; a set is never split over waves.
func (c *carver) fill(s *Set, sv Serving, codes []string) error {
	need := map[int]int{}
	for _, p := range sv.Cups {
		need[p]++
	}
	if sv.Reference >= 0 {
		need[sv.Reference]++
	}
	if len(c.setup.Waves) > 0 {
		for !c.enough(need) {
			if !c.next() {
				return fault.New("portions-short", "the pieces run out at tray %d", s.Tray).WithFix("cook more pieces, carve more portions from each, or serve fewer sets")
			}
		}
		s.Wave = c.wave + 1
		c.served++
	}
	taken := map[int]string{}
	cup := func(p int, code string) Cup {
		k := Cup{Code: code, Product: c.setup.Products[p].ID}
		if len(c.setup.Waves) > 0 {
			k.Piece, k.Portion = c.take(p, taken)
		}
		return k
	}
	if sv.Reference >= 0 {
		r := cup(sv.Reference, "")
		s.Reference = &r
	}
	for i, p := range sv.Cups {
		s.Cups = append(s.Cups, cup(p, codes[i]))
	}
	return nil
}

// enough tells whether the open wave can fill a set: like samples from one
// piece need one piece with that many portions left, from different pieces
// two that are not used up.
func (c *carver) enough(need map[int]int) bool {
	if c.served >= c.most {
		return false
	}
	for p, n := range need {
		total, best, open := 0, 0, 0
		for _, left := range c.left[p] {
			total += len(left)
			best = max(best, len(left))
			open += b2i(len(left) > 0)
		}
		switch {
		case total < n, !c.setup.LikeApart && best < n:
			return false
		case c.setup.LikeApart && n > 1 && open < min(2, len(c.left[p])):
			return false
		}
	}
	return true
}

// take returns a portion of product p: from the piece already on the tray, or
// with LikeApart from another; among those, the piece with most left, first
// label first.
func (c *carver) take(p int, taken map[int]string) (string, int) {
	pieces := c.left[p]
	choice, most := "", -1
	for _, label := range c.setup.Waves[c.wave].Pieces[p] {
		n := len(pieces[label])
		if n == 0 {
			continue
		}
		if prev, ok := taken[p]; ok && (label == prev) != c.setup.LikeApart {
			n += 1 << 20 // wanted
		}
		if n > most {
			choice, most = label, n
		}
	}
	left := pieces[choice]
	portion := left[len(left)-1]
	pieces[choice] = left[:len(left)-1]
	taken[p] = choice
	return choice, portion
}

func (c *carver) notes() []fault.Note {
	if len(c.setup.Waves) == 0 {
		return []fault.Note{fault.Notef("pieces-untracked", "pieces are not tracked: whether the samples came from several pairs of pieces cannot be told from the key")}
	}
	if c.wave == 0 {
		single := true
		for _, p := range c.setup.Waves[0].Pieces {
			single = single && len(p) == 1
		}
		if single {
			return []fault.Note{fault.Notef("one-pair-of-pieces", "all samples come from one pair of pieces: the tasting speaks for these two pieces, not for the ways of cooking")}
		}
	}
	return nil
}
