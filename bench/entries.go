package bench

import (
	"context"
	"encoding/json"
	"reflect"
	"slices"
	"time"

	"trivet/fault"
	"trivet/study"
)

// Entry is one thing that a cook recorded; exactly one field is set. Of a
// photo it is what is said of it, not the picture.
type Entry struct {
	Mark      *study.Mark      `json:"mark,omitempty"`
	Weighing  *study.Weighing  `json:"weighing,omitempty"`
	Reading   *study.Reading   `json:"reading,omitempty"`
	Deviation *study.Deviation `json:"deviation,omitempty"`
	Photo     *study.Photo     `json:"photo,omitempty"`
	Day       *string          `json:"day,omitempty"` // the cook's day, "" for none
	Standing  *Standing        `json:"standing,omitempty"`
}

// Standing is what a cook counts as; of a void one with the rule that removed
// it, why and when.
type Standing struct {
	Role     study.Role `json:"role"`
	VoidRule string     `json:"rule,omitempty"`
	VoidWhy  string     `json:"why,omitempty"`
	VoidedAt time.Time  `json:"at,omitzero"`
}

// StandingOf is what a cook counts as now; times are told to the second.
func StandingOf(c study.Cook) Standing {
	return Standing{c.Role, c.VoidRule, c.VoidWhy, c.VoidedAt.UTC().Truncate(time.Second)}
}

// Change is a change of one entry of a cook. A nil Before adds, a nil After
// removes; the two turned round undo it. It stands in the detail of its
// history entry, so that whatever was changed can be put back.
type Change struct {
	Cook   string `json:"cook"` // id
	Before *Entry `json:"before,omitempty"`
	After  *Entry `json:"after,omitempty"`
}

// Told is a change and the sentence that the history says of it.
type Told struct {
	Change
	What string
}

// Undone is the change that takes this one back.
func (c Change) Undone() Change { return Change{c.Cook, c.After, c.Before} }

// Apply changes one entry of a cook and enters in the history what, a
// sentence, and the change itself. An entry that is not as Before says is
// refused with code "edited-meanwhile": somebody else changed it.
func Apply(ctx context.Context, nb Notebook, studyID string, cook study.Cook, ch Change, what string, now time.Time) error {
	return ApplyAll(ctx, nb, studyID, cook, []Told{{ch, what}}, now)
}

// ApplyAll makes several changes of a cook, or none of them; each enters the
// history by itself, so that each can be taken back by itself.
func ApplyAll(ctx context.Context, nb Notebook, studyID string, cook study.Cook, all []Told, now time.Time) error {
	var events []study.Event
	for _, x := range all {
		x.Cook = cook.ID
		next, ok := changed(cook, x.Change)
		if !ok {
			return fault.New("edited-meanwhile", "somebody else changed this meanwhile").
				WithFix("look at what stands there now, then change it again")
		}
		detail, err := json.Marshal(x.Change)
		if err != nil {
			return err
		}
		kind := study.EventChanged
		if x.After != nil && x.After.Standing != nil && x.After.Standing.Role == study.Void {
			kind = study.EventVoided
		}
		cook = next
		events = append(events, study.Event{At: now, Study: studyID, Kind: kind, What: x.What, Detail: string(detail)})
	}
	if len(events) == 0 {
		return nil
	}
	return nb.PutCook(ctx, studyID, cook, events...)
}

// Recorded is a change that the history holds.
type Recorded struct {
	Change
	Event study.Event
	// CanUndo tells whether the entry still is as this change left it.
	CanUndo bool
}

// Changes are the changes of a cook's entries, the latest first.
func Changes(history []study.Event, cook study.Cook) []Recorded {
	var out []Recorded
	for _, e := range slices.Backward(history) {
		var ch Change
		if e.Kind != study.EventChanged && e.Kind != study.EventVoided || json.Unmarshal([]byte(e.Detail), &ch) != nil || ch.Cook != cook.ID || ch.Before == nil && ch.After == nil {
			continue
		}
		_, ok := changed(cook, ch.Undone())
		// A picture that was deleted is gone, and no word of it brings it back.
		if ch.After == nil && ch.Before.Photo != nil {
			ok = false
		}
		out = append(out, Recorded{ch, e, ok})
	}
	return out
}

// changed is the cook with one entry changed; false when the entry is not as
// the change says it was.
func changed(c study.Cook, ch Change) (study.Cook, bool) {
	var ok bool
	e := ch.After
	if e == nil {
		e = ch.Before
	}
	before, after := ch.Before, ch.After
	if before == nil {
		before = &Entry{}
	}
	if after == nil {
		after = &Entry{}
	}
	switch {
	case e == nil:
	case e.Day != nil:
		if ok = before.Day != nil && after.Day != nil && c.Day == *before.Day; ok {
			c.Day = *after.Day
		}
	case e.Standing != nil:
		if ok = before.Standing != nil && after.Standing != nil && StandingOf(c) == *before.Standing; ok {
			to := *after.Standing
			c.Role, c.VoidRule, c.VoidWhy, c.VoidedAt = to.Role, to.VoidRule, to.VoidWhy, to.VoidedAt
		}
	case e.Mark != nil:
		c.Marks, ok = replaced(c.Marks, before.Mark, after.Mark, func(m study.Mark) string { return m.ID })
		study.SortMarks(c.Marks)
	case e.Weighing != nil:
		c.Weighings, ok = replaced(c.Weighings, before.Weighing, after.Weighing, func(w study.Weighing) string { return w.ID })
	case e.Reading != nil:
		c.Readings, ok = replaced(c.Readings, before.Reading, after.Reading, func(r study.Reading) string { return r.ID })
	case e.Deviation != nil:
		c.Deviations, ok = replaced(c.Deviations, before.Deviation, after.Deviation, func(study.Deviation) string { return "" })
	case e.Photo != nil:
		c.Photos, ok = replaced(c.Photos, before.Photo, after.Photo, func(p study.Photo) string { return p.ID })
	}
	return c, ok
}

// replaced puts after where before stands, appends it where before is nil and
// takes before out where after is nil. Entries without an id are known by
// what they say.
func replaced[T any](list []T, before, after *T, id func(T) string) ([]T, bool) {
	list = slices.Clone(list)
	if before == nil {
		if id(*after) != "" && slices.ContainsFunc(list, func(x T) bool { return id(x) == id(*after) }) {
			return list, false
		}
		return append(list, *after), true
	}
	i := slices.IndexFunc(list, func(x T) bool { return SameEntry(x, *before) })
	switch {
	case i < 0:
		return list, false
	case after == nil:
		return slices.Delete(list, i, i+1), true
	}
	list[i] = *after
	return list, true
}

// SameEntry tells whether two entries say the same, whatever way they went:
// times are compared as instants, and no list is as good as an empty one.
func SameEntry[T any](a, b T) bool {
	var x, y any
	return plain(a, &x) && plain(b, &y) && reflect.DeepEqual(x, y)
}

// plain is an entry through JSON, as the history keeps it.
func plain(entry any, into *any) bool {
	switch e := entry.(type) {
	case study.Reading:
		e.Values, e.Grades = append([]float64{}, e.Values...), append([]string{}, e.Grades...)
		entry = e
	case study.Photo:
		e.TakenAt, e.AddedAt, e.TrashedAt = e.TakenAt.Round(0).UTC(), e.AddedAt.Round(0).UTC(), e.TrashedAt.Round(0).UTC()
		entry = e
	}
	b, err := json.Marshal(entry)
	return err == nil && json.Unmarshal(b, into) == nil
}
