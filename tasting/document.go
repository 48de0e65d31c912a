package tasting

import (
	"io"
	"time"

	"trivet/fault"
)

// DocumentFormat is the version of Document written here.
const DocumentFormat = 1

// Document is a whole tasting as it is kept: what it was dealt from, the rule
// fixed before tasting, and the session. Until closing it holds nothing of
// the key but the lock.
type Document struct {
	Format     int      `json:"format"`
	Setup      Setup    `json:"setup"`
	Rule       Rule     `json:"rule"`
	Attributes []string `json:"attributes,omitempty"` // to rate or tick
	Session    *Session `json:"session"`
}

// NewDocument deals, locks and opens a tasting. seed and salt come from the
// cryptographic source; key and salt are returned to be sealed, and are
// nowhere else.
func NewDocument(setup Setup, rule Rule, attributes []string, at time.Time, random io.Reader) (d *Document, k *Key, salt string, notes []fault.Note, err error) {
	if err := rule.check(setup.Method); err != nil {
		return nil, nil, "", nil, err
	}
	seed, err := NewSeed(random)
	if err != nil {
		return nil, nil, "", nil, err
	}
	k, notes, err = Deal(setup, seed)
	if err != nil {
		return nil, nil, "", nil, err
	}
	lock, salt, err := LockKey(k, random)
	if err != nil {
		return nil, nil, "", nil, err
	}
	s, err := Open(k, lock, at, random)
	if err != nil {
		return nil, nil, "", nil, err
	}
	setup.Method = k.Method
	// What people avoid was needed to choose who is served, and no longer.
	people := make([]Assessor, len(setup.Assessors))
	for i, a := range setup.Assessors {
		people[i] = Assessor{ID: a.ID, Consents: a.Consents}
	}
	setup.Assessors = people
	return &Document{Format: DocumentFormat, Setup: setup, Rule: rule, Attributes: attributes, Session: s}, k, salt, notes, nil
}

// check refuses a rule that could not be scored by: it is fixed before tasting
// and cannot be mended after.
func (r Rule) check(method string) error {
	m, err := Lookup(method)
	if err != nil {
		return err
	}
	if _, choice := m.(ForcedChoice); choice {
		if r.Beta == 0 {
			r.Beta = r.Alpha
		}
		if r.For == "" {
			r.For = ForDifference
		}
		return checkScore(Count{N: 1}, r)
	}
	if r.For == ForSimilarity {
		return fault.BadUsage("aim-unknown", "similarity is offered for choice methods only").On("for", string(r.For)).WithFix("choose one of them, or test for a difference")
	}
	return riskInRange("alpha", r.Alpha)
}

// Scored is what a closed tasting shows. One of Choice, Response and Report is
// set.
type Scored struct {
	Choice   *Result         `json:"choice,omitempty"`
	Response *ResponseResult `json:"response,omitempty"`
	Report   Report          `json:"report,omitempty"`
}

// Score scores a closed tasting by its rule.
func (d *Document) Score() (*Scored, error) {
	if err := d.Session.errNotClosed(); err != nil {
		return nil, err
	}
	m, err := Lookup(d.Session.Method)
	if err != nil {
		return nil, err
	}
	switch m := m.(type) {
	case ForcedChoice:
		c, err := d.Session.Choices()
		if err != nil {
			return nil, err
		}
		r, err := ScoreChoices(m, c, d.Rule)
		return &Scored{Choice: r}, err
	case ResponseMethod:
		a, err := d.Session.Responses()
		if err != nil {
			return nil, err
		}
		r, err := ScoreResponses(m, a, d.Rule.Alpha)
		return &Scored{Response: r}, err
	case TableMethod:
		rows, err := d.Session.Rows()
		if err != nil {
			return nil, err
		}
		r, err := m.ScoreRows(rows, d.Rule.Alpha)
		return &Scored{Report: r}, err
	}
	return nil, fault.New("method-unknown", "the tasting's method cannot be scored").On("method", d.Session.Method)
}

// ScoreChoices scores a count with what is known of who gave the answers:
// replicated answers get their overdispersion, chance-corrected.
func ScoreChoices(m ForcedChoice, c *Choices, r Rule) (*Result, error) {
	res, err := Score(m, c.Count, r)
	if err != nil {
		return nil, err
	}
	res.Sureness, res.Positions = c.Sure, c.Positions
	if c.Positions != nil && c.Positions.P < 0.05 {
		res.Notes = append(res.Notes, fault.Notef("position-habit", "places on the tray were chosen unequally often (%v from the left, p %s): balanced orders keep this from counting as difference, but it costs power", c.Positions.Chosen, pText(c.Positions.P)))
	}
	if c.Assessors > 1 && c.Assessors < c.N {
		if res.Overdispersion, err = Overdispersed(c.Replicates, m.Guess(), true); err != nil {
			return nil, err
		}
	}
	return res, nil
}
