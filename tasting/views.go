package tasting

import (
	"slices"
	"sort"
)

// Role is what a person at a tasting does and so may see before closing.
//
//   - lead: plans, holds the passphrase of the key, sees counts
//   - preparer: which piece goes into which cup; neither serves nor tastes
//   - server: trays, positions and codes only
//   - assessor: their own ballot
//   - reader: the commitment and the counts
type Role string

// Roles at a tasting.
const (
	Lead     Role = "lead"
	Preparer Role = "preparer"
	Server   Role = "server"
	Taster   Role = "assessor"
	Reader   Role = "reader"
)

// Roles lists every role.
func Roles() []Role { return []Role{Lead, Preparer, Server, Taster, Reader} }

// MayHold tells whether one person may hold two roles at one tasting. Who
// knows what is in a cup neither serves nor tastes.
func MayHold(a, b Role) bool {
	if a == b {
		return true
	}
	knows := func(r Role) bool { return r == Lead || r == Preparer }
	blind := func(r Role) bool { return r == Server || r == Taster }
	return !(knows(a) && blind(b) || knows(b) && blind(a))
}

// Blinding words who knew what, from the roles each person held.
type Blinding string

// Degrees of blinding.
const (
	DoubleBlind Blinding = "double-blind" // nobody who served or tasted knew
	SingleBlind Blinding = "single-blind" // tasters did not know, someone who served did
	NotBlind    Blinding = "not blind"    // someone who tasted knew
)

// BlindingOf returns the degree a tasting had. A person who held the lead's
// or the preparer's role knew what was in the cups.
func BlindingOf(people map[string][]Role) Blinding {
	out := DoubleBlind
	for _, roles := range people {
		if !slices.Contains(roles, Lead) && !slices.Contains(roles, Preparer) {
			continue
		}
		if slices.Contains(roles, Taster) {
			return NotBlind
		}
		if slices.Contains(roles, Server) {
			out = SingleBlind
		}
	}
	return out
}

// PreparerSheet is the carve-and-plate sheet: piece by piece, each portion
// and the cup it goes into. It names pieces, not treatments.
type PreparerSheet struct {
	Tasting string         `json:"tasting"`
	Waves   []PreparerWave `json:"waves"`
}

// PreparerWave is what is carved together.
type PreparerWave struct {
	Wave   int             `json:"wave"`
	Pieces []PreparerPiece `json:"pieces"`
}

// PreparerPiece is one piece and its portions in carving order.
type PreparerPiece struct {
	Piece    string            `json:"piece"`
	Portions []PreparerPortion `json:"portions"`
}

// PreparerPortion goes into one cup of one tray. Cup is a code, or
// "reference".
type PreparerPortion struct {
	Portion  int    `json:"portion"`
	Tray     int    `json:"tray"`
	Position int    `json:"position"` // from the left, from 1; 0 for the reference
	Cup      string `json:"cup"`
}

// referenceCup labels a cup without a code.
const referenceCup = "reference"

// ForPreparer makes the carve-and-plate sheet. Where pieces are not tracked
// the product stands in for its piece.
func (k *Key) ForPreparer() PreparerSheet {
	sheet := PreparerSheet{Tasting: k.Tasting}
	waves := map[int]map[string][]PreparerPortion{}
	var order []int
	add := func(s Set, c Cup, position int) {
		if waves[s.Wave] == nil {
			waves[s.Wave] = map[string][]PreparerPortion{}
			order = append(order, s.Wave)
		}
		piece := c.Piece
		if piece == "" {
			piece = c.Product
		}
		label := c.Code
		if label == "" {
			label = referenceCup
		}
		waves[s.Wave][piece] = append(waves[s.Wave][piece], PreparerPortion{c.Portion, s.Tray, position, label})
	}
	for _, s := range k.Sets {
		if s.Reference != nil {
			add(s, *s.Reference, 0)
		}
		for i, c := range s.Cups {
			add(s, c, i+1)
		}
	}
	sort.Ints(order)
	for _, w := range order {
		pw := PreparerWave{Wave: w}
		var labels []string
		for l := range waves[w] {
			labels = append(labels, l)
		}
		sort.Strings(labels)
		for _, l := range labels {
			ps := waves[w][l]
			sort.SliceStable(ps, func(i, j int) bool {
				if ps[i].Portion != ps[j].Portion {
					return ps[i].Portion < ps[j].Portion
				}
				return ps[i].Tray < ps[j].Tray
			})
			pw.Pieces = append(pw.Pieces, PreparerPiece{l, ps})
		}
		sheet.Waves = append(sheet.Waves, pw)
	}
	return sheet
}

// Tray is what the server sees of a set, and what a session keeps of it:
// who gets it and which codes stand where.
type Tray struct {
	Set       string   `json:"set"`
	Tray      int      `json:"tray"`
	Wave      int      `json:"wave"`
	Assessor  string   `json:"assessor"`
	Round     int      `json:"round"`
	Reference bool     `json:"reference"` // a cup marked "reference" comes first
	Codes     []string `json:"codes"`     // left to right
}

// ServerSheet is the tray sheet.
type ServerSheet struct {
	Tasting string `json:"tasting"`
	Trays   []Tray `json:"trays"`
}

// ForServer makes the tray sheet.
func (k *Key) ForServer() ServerSheet {
	sheet := ServerSheet{Tasting: k.Tasting}
	for _, s := range k.Sets {
		t := Tray{Set: s.ID, Tray: s.Tray, Wave: s.Wave, Assessor: s.Assessor, Round: s.Round, Reference: s.Reference != nil}
		for _, c := range s.Cups {
			t.Codes = append(t.Codes, c.Code)
		}
		sheet.Trays = append(sheet.Trays, t)
	}
	return sheet
}

// BallotForm is what an assessor sees of one set.
type BallotForm struct {
	Set        string   `json:"set"`
	Assessor   string   `json:"assessor"`
	Round      int      `json:"round"`
	Ask        string   `json:"ask"`
	Reference  bool     `json:"reference"`
	Codes      []string `json:"codes"`
	Choose     int      `json:"choose"`               // codes to choose, 0 for other kinds of answer
	Answers    []string `json:"answers,omitempty"`    // for methods with two answers
	Attributes []string `json:"attributes,omitempty"` // to rate, or words to tick
	Sureness   []string `json:"sureness"`
	How        []string `json:"how"`
}

// SurenessWords are the grades of sureness, 1 upwards.
func SurenessWords() []string { return []string{"a guess", "not sure", "sure"} }

// Server is the tray sheet of a session: no key is needed for it.
func (s *Session) Server() ServerSheet {
	return ServerSheet{Tasting: s.Lock.Tasting, Trays: slices.Clone(s.Trays)}
}

// ForAssessor makes an assessor's ballots, in serving order. Attributes are
// the words to rate or tick, where the method has any.
func (s *Session) ForAssessor(assessor string, attributes []string) ([]BallotForm, error) {
	m, err := Lookup(s.Method)
	if err != nil {
		return nil, err
	}
	d := m.Describe()
	var out []BallotForm
	for _, t := range s.Trays {
		if t.Assessor != assessor {
			continue
		}
		f := BallotForm{Set: t.Set, Assessor: assessor, Round: t.Round, Ask: d.Ask, Reference: t.Reference,
			Codes: t.Codes, Sureness: SurenessWords(), How: howToTaste(d.Kind)}
		switch d.Kind {
		case KindChoice:
			f.Choose = choose(m)
		case KindResponse:
			f.Answers = responseWords(m)
		case KindScale, KindChecks:
			f.Attributes = slices.Clone(attributes)
		}
		out = append(out, f)
	}
	return out, nil
}

// choose is how many codes an answer names: two for the tetrad, else one.
func choose(m Method) int {
	if _, ok := m.(Tetrad); ok {
		return 2
	}
	return 1
}

// responseWords are the two answers, the one counted as "yes" last.
func responseWords(m Method) []string {
	if _, ok := m.(SameDifferent); ok {
		return []string{"same", "different"}
	}
	return []string{"A", "not A"}
}

// howToTaste are the instructions printed on a ballot.
func howToTaste(k Kind) []string {
	how := []string{
		"Rinse with water and eat a bite of plain cracker before the first sample and between samples.",
		"Taste from left to right.",
		"Do not talk about the samples until everyone is done.",
		"You may stop at any time, and may ask for your answers to be removed.",
	}
	if k == KindChoice {
		// ISO 4120:2021, 7.3-7.5: an answer is always given, guesses are marked
		// as such, and earlier sets are not returned to.
		how = append(how, "Give an answer even if you are guessing, and mark it as a guess. Do not go back to an earlier set.")
	}
	return how
}

// ReaderView is what anyone may see before closing.
type ReaderView struct {
	Lock
	Method   string `json:"method"`
	Planned  int    `json:"planned"`  // sets
	Received int    `json:"received"` // ballots
	Closed   bool   `json:"closed"`
}
