package study

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gowebpki/jcs"

	"trivet/fault"
	"trivet/heat"
	"trivet/quantity"
)

// CookFiles lists the cook files the treatments name, each once, in document
// order.
func (s *Study) CookFiles() []string {
	var out []string
	for _, t := range s.Treatments {
		if t.Cook != "" && !slices.Contains(out, t.Cook) {
			out = append(out, t.Cook)
		}
	}
	return out
}

// canonicalReading is the scale of a reading; what few readings declare is left
// out where it is not said, so that a seal made before it could be said holds.
func canonicalReading(d ReadingDef) tree {
	c := tree{"kind": string(d.Kind), "unit": d.Unit, "scale": list(d.Scale), "judged": d.Judged}
	if d.Resolution > 0 {
		c["resolution"] = round12(d.Resolution)
	}
	if d.Least != nil && d.Most != nil {
		c["limits"] = []any{round12(*d.Least), round12(*d.Most)}
	}
	return c
}

// Canonical returns the parts of a study that are sealed, as JSON in the
// canonical form of RFC 8785: format version, claim, questions with their
// margins and the scales of their readings, treatments with their parsed
// cook files, blocks, controlled, void rules, risk, design, seed and run
// order. Amounts are in SI, rounded to twelve digits, so that comments, the
// order of keys and of named entries, and the spelling of units leave the
// bytes as they are, and any change of a value changes them.
//
// cookFiles holds the bytes of each file that [Study.CookFiles] names; the
// error is a *fault.Error or fault.List, code "cook-file-missing" when one is
// not there.
func Canonical(s *Study, cookFiles map[string][]byte) ([]byte, error) {
	treatments := tree{}
	var errs fault.List
	for _, t := range s.Treatments {
		c := tree{"name": words(t.Name), "control": t.Control}
		if len(t.Set) > 0 {
			set := tree{}
			for k, v := range t.Set {
				set[k] = canonicalSetting(v)
			}
			c["set"] = set
		}
		if t.Cook != "" {
			parsed, err := canonicalCook(t.Cook, cookFiles)
			if err != nil {
				errs = append(errs, members(err)...)
				continue
			}
			c["cook"] = parsed
		}
		treatments[t.ID] = c
	}
	if err := errs.Err(); err != nil {
		return nil, err
	}
	questions, readings := tree{}, tree{}
	for _, q := range s.Questions {
		questions[q.ID] = canonicalQuestion(q)
		for _, d := range s.Readings {
			if d.ID == q.Response {
				readings[d.ID] = canonicalReading(d)
			}
		}
	}
	controlled, void := tree{}, tree{}
	for _, c := range s.Controlled {
		controlled[c.Name] = tree{"kind": string(c.Kind), "value": round12(c.Value), "tolerance": round12(c.Tolerance)}
	}
	for _, v := range s.VoidRules {
		void[v.ID] = words(v.When)
	}
	runs := slices.Clone(s.Design.RunOrder)
	slices.SortStableFunc(runs, func(a, b RunSlot) int { return cmp.Compare(a.Order, b.Order) })
	order := make([]any, len(runs))
	for i, r := range runs {
		order[i] = tree{"order": r.Order, "block": r.Block, "piece": r.Piece, "treatment": r.Treatment, "burner": r.Burner, "code": r.Code}
	}
	b, err := json.Marshal(tree{
		"format":     s.Format,
		"claim":      tree{"says": words(s.Claim.Says), "scope": words(s.Claim.Scope), "fair": words(s.Claim.Fair), "against": words(s.Claim.Against)},
		"questions":  questions,
		"readings":   readings,
		"treatments": treatments,
		"blocks":     tree{"what": words(s.Blocks.What), "count": s.Blocks.Count, "pieces": s.Blocks.Pieces, "spares": s.Blocks.Spares},
		"controlled": controlled,
		"void":       void,
		"risk":       canonicalRisk(s.Risk),
		"design":     tree{"kind": s.Design.Kind, "seed": s.Design.Seed, "run_order": order},
	})
	if err != nil {
		return nil, fault.New("seal", "the study cannot be put into canonical form").Wrap(err)
	}
	out, err := jcs.Transform(b)
	if err != nil {
		return nil, fault.New("seal", "the study cannot be put into canonical form").Wrap(err)
	}
	return out, nil
}

type tree = map[string]any

// words gives text with single spaces, however its lines were folded.
func words(s string) string { return strings.Join(strings.Fields(s), " ") }

// round12 rounds to twelve significant digits: an amount in another unit of
// the same size gives the same number.
func round12(v float64) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
	if err != nil {
		return v
	}
	return r + 0 // no negative zero
}

func list(s []string) []any {
	out := make([]any, len(s))
	for i := range s {
		out[i] = s[i]
	}
	return out
}

// canonicalRisk leaves out what only a group-sequential plan has, so that
// other seals keep their bytes.
func canonicalRisk(k Risk) tree {
	c := tree{"alpha": round12(k.Alpha), "power": round12(k.Power), "mode": k.Mode}
	if len(k.Looks) > 0 {
		looks := make([]any, len(k.Looks))
		for i, n := range k.Looks {
			looks[i] = n
		}
		c["looks"], c["spending"] = looks, k.Spending
	}
	return c
}

func canonicalQuestion(q Question) tree {
	c := tree{"ask": words(q.Ask), "compare": tree{"treatment": q.Compare.Treatment, "against": q.Compare.Against}}
	if t := q.Tasting; t != nil {
		c["tasting"] = tree{"method": t.Method, "discriminators": round12(t.Discriminators), "dprime": round12(t.DPrime),
			"alpha": round12(t.Alpha), "beta": round12(t.Beta), "for": t.For}
		return c
	}
	c["claim"], c["judged"], c["blind"] = string(q.Claim), q.Judged, q.Blind
	if len(q.Covariates) > 0 {
		covariates := slices.Clone(q.Covariates)
		slices.Sort(covariates)
		c["covariates"] = list(covariates)
	}
	name, target := SplitResponse(q.Response)
	c["response"] = name
	if t, err := quantity.ParseTemperature(target); target != "" && err == nil {
		c["target_c"] = round12(t.C())
	}
	if m := q.Margin; m.MarginKind != "" {
		margin := tree{"kind": string(m.MarginKind), "value": round12(m.Value)}
		if m.MarginKind == quantity.MarginAmount {
			margin["of"] = string(m.Kind)
			if m.Kind == quantity.KindOther {
				margin["unit"] = m.Unit
			}
		}
		c["margin"] = margin
	}
	return c
}

// canonicalSetting reads a free setting as an amount where it is one.
func canonicalSetting(text string) any {
	a, err := quantity.Parse(text)
	if err != nil {
		return words(text)
	}
	c := tree{"kind": string(a.Kind), "value": round12(a.Value)}
	if a.Kind == quantity.KindOther {
		c["unit"] = a.Unit
	}
	if a.HasPm {
		c["tolerance"] = round12(a.Pm)
	}
	return c
}

func canonicalCook(path string, cookFiles map[string][]byte) (tree, error) {
	src, ok := cookFiles[path]
	if !ok {
		return nil, fault.New("cook-file-missing", "the cook file %s is not there", path).
			On("", path).WithFix("put it below the study's folder, or correct its path")
	}
	return heat.CanonicalCook(path, src)
}

// members returns the members of an error as a list.
func members(err error) fault.List {
	switch e := err.(type) {
	case fault.List:
		return e
	case *fault.Error:
		return fault.List{e}
	}
	return fault.List{fault.New("cook-file", "%s", err)}
}

// SealNow seals a study as it stands. at is the caller's clock: a local clock
// can lie, so a report says where the time came from.
func SealNow(s *Study, cookFiles map[string][]byte, at time.Time) (Seal, error) {
	b, err := Canonical(s, cookFiles)
	if err != nil {
		return Seal{}, err
	}
	sum := sha256.Sum256(b)
	return Seal{Hash: hex.EncodeToString(sum[:]), Canonical: b, At: at}, nil
}

// Verify checks that a seal's hash is that of what it says was sealed.
func (s Seal) Verify() error {
	sum := sha256.Sum256(s.Canonical)
	if hex.EncodeToString(sum[:]) != s.Hash {
		return fault.New("seal-broken", "the seal does not fit what it is said to seal").
			On("seal", s.Hash).WithFix("restore the notebook or package from an older copy")
	}
	return nil
}

// ReadCooks fills in each treatment's Spec, the canonical form of its cook
// file. The error lists every file that is not there or cannot be read.
func (s *Study) ReadCooks(cookFiles map[string][]byte) error {
	var errs fault.List
	for i := range s.Treatments {
		t := &s.Treatments[i]
		if t.Cook == "" {
			continue
		}
		spec, err := canonicalCook(t.Cook, cookFiles)
		if err != nil {
			errs = append(errs, members(err)...)
			continue
		}
		t.Spec = spec
	}
	return errs.Err()
}
