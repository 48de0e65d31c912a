package study

import (
	"encoding/json"

	"trivet/fault"
	"trivet/quantity"
)

// SealedQuestion is a question on a response as it was sealed, beside the
// question as it stands.
type SealedQuestion struct {
	// Margin is the sealed one; it decides, whatever the document says today.
	Margin quantity.Margin
	// MarginChanged says that the document has another one now.
	MarginChanged bool
	// Changed says that the response, the contrast, the claimed direction or
	// how it is read is another one now: then it is another question.
	Changed bool
}

// SealedQuestions reads the questions of a seal and compares them with the
// study as it stands, by question id. Questions that the seal does not hold
// are missing from the result.
func SealedQuestions(seal Seal, s *Study) (map[string]SealedQuestion, error) {
	var sealed struct {
		Questions map[string]tree `json:"questions"`
	}
	if err := json.Unmarshal(seal.Canonical, &sealed); err != nil {
		return nil, fault.New("seal-broken", "what was sealed cannot be read").Wrap(err)
	}
	out := map[string]SealedQuestion{}
	for _, q := range s.Questions {
		was, ok := sealed.Questions[q.ID]
		if !ok {
			continue
		}
		var now tree
		b, err := json.Marshal(canonicalQuestion(q))
		if err != nil {
			return nil, fault.New("seal-broken", "question %s cannot be written", q.ID).Wrap(err)
		}
		if err := json.Unmarshal(b, &now); err != nil {
			return nil, fault.New("seal-broken", "question %s cannot be read", q.ID).Wrap(err)
		}
		sq := SealedQuestion{Margin: q.Margin, MarginChanged: !same(was["margin"], now["margin"])}
		if sq.MarginChanged {
			sq.Margin = marginOf(was["margin"])
		}
		for _, t := range []tree{was, now} {
			delete(t, "margin")
			delete(t, "ask") // the wording may be mended
		}
		sq.Changed = !same(was, now)
		out[q.ID] = sq
	}
	return out, nil
}

// marginOf reads a margin back from its sealed form.
func marginOf(x any) quantity.Margin {
	t, ok := x.(tree)
	if !ok {
		return quantity.Margin{} // the question was sealed without one
	}
	var m quantity.Margin
	if k, ok := t["kind"].(string); ok {
		m.MarginKind = quantity.MarginKind(k)
	}
	if v, ok := t["value"].(float64); ok {
		m.Value = v
	}
	if k, ok := t["of"].(string); ok {
		m.Kind = quantity.Kind(k)
	}
	if u, ok := t["unit"].(string); ok {
		m.Unit = u
	}
	m.Text = showAmount(t)
	return m
}
