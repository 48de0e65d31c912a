package store

import (
	"context"
	"reflect"
	"slices"

	"trivet/bench"
	"trivet/study"
)

var _ bench.CookLog = (*Notebook)(nil)

// AddMark adds a mark to a cook, after those it has.
func (n *Notebook) AddMark(ctx context.Context, studyID, cookID string, m study.Mark, events ...study.Event) error {
	return n.addEntry(ctx, studyID, study.Cook{ID: cookID, Marks: []study.Mark{m}}, events)
}

// AddWeighing adds a weighing to a cook, after those it has.
func (n *Notebook) AddWeighing(ctx context.Context, studyID, cookID string, w study.Weighing, events ...study.Event) error {
	return n.addEntry(ctx, studyID, study.Cook{ID: cookID, Weighings: []study.Weighing{w}}, events)
}

// AddReading adds a typed-in value to a cook, after those it has.
func (n *Notebook) AddReading(ctx context.Context, studyID, cookID string, r study.Reading, events ...study.Event) error {
	return n.addEntry(ctx, studyID, study.Cook{ID: cookID, Readings: []study.Reading{r}}, events)
}

// AddDeviation adds what did not go to plan. Deviations have no id: an equal
// one is the same one.
func (n *Notebook) AddDeviation(ctx context.Context, studyID, cookID string, d study.Deviation, events ...study.Event) error {
	return n.addEntry(ctx, studyID, study.Cook{ID: cookID, Deviations: []study.Deviation{d}}, events)
}

// addEntry appends the one entry that add holds.
func (n *Notebook) addEntry(ctx context.Context, studyID string, add study.Cook, events []study.Event) error {
	if err := checkCook(add); err != nil {
		return err
	}
	return n.change(ctx, func(c *change) error {
		if err := c.mustHaveCook(studyID, add.ID); err != nil {
			return err
		}
		have, err := c.cook(add.ID)
		if err != nil {
			return err
		}
		var known bool
		for _, m := range add.Marks {
			if known, err = sameID(have.Marks, m, "mark", func(m study.Mark) string { return m.ID }); err == nil && !known {
				err = c.insertMark(add.ID, len(have.Marks)+1, m)
			}
		}
		for _, w := range add.Weighings {
			if known, err = sameID(have.Weighings, w, "weighing", func(w study.Weighing) string { return w.ID }); err == nil && !known {
				err = c.insertWeighing(add.ID, len(have.Weighings)+1, w)
			}
		}
		for _, r := range add.Readings {
			if known, err = sameID(have.Readings, r, "reading", func(r study.Reading) string { return r.ID }); err == nil && !known {
				err = c.insertReading(add.ID, len(have.Readings)+1, r)
			}
		}
		for _, d := range add.Deviations {
			if known = slices.Contains(have.Deviations, d); !known {
				err = c.insertDeviation(add.ID, len(have.Deviations)+1, d)
			}
		}
		if err != nil || known {
			return err
		}
		return c.append(studyID, events)
	})
}

// sameID reports whether an entry is in a list already, and refuses one whose
// id is there with different content. An entry without id is always new.
func sameID[T any](list []T, entry T, what string, id func(T) string) (known bool, err error) {
	if id(entry) == "" {
		return false, nil
	}
	i := slices.IndexFunc(list, func(x T) bool { return id(x) == id(entry) })
	if i < 0 {
		return false, nil
	}
	if !reflect.DeepEqual(normal(list[i]), normal(entry)) {
		return false, conflict(what, id(entry))
	}
	return true, nil
}

// normal makes empty and missing lists of a reading alike.
func normal(entry any) any {
	if r, ok := entry.(study.Reading); ok {
		r.Values, r.Grades = append([]float64{}, r.Values...), append([]string{}, r.Grades...)
		return r
	}
	return entry
}
