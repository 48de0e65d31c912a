package store

import (
	"slices"
	"sync"

	"trivet/study"
)

// recentCooks keeps the cooks of the studies read last, so that a page of a
// large study need not read a hundred thousand rows again. What is kept is
// good for one revision of the study, which every change counts up, also
// that of another process, and which is read in the same transaction.
type recentCooks struct {
	mu   sync.Mutex
	kept []keptCooks // the latest last
}

type keptCooks struct {
	study    string
	revision int64
	list     []study.Cook
}

// mostRecent is how many studies are kept.
const mostRecent = 4

// cooksOf reads the cooks of a study at a revision.
func (n *Notebook) cooksOf(q *query, studyID string, revision int64) ([]study.Cook, error) {
	r := &n.recent
	r.mu.Lock()
	i := slices.IndexFunc(r.kept, func(k keptCooks) bool { return k.study == studyID && k.revision == revision })
	if i >= 0 {
		k := r.kept[i]
		r.kept = append(slices.Delete(r.kept, i, i+1), k)
		r.mu.Unlock()
		return copyCooks(k.list), nil
	}
	r.mu.Unlock()

	list, err := q.cooks(studyID)
	if err != nil {
		return nil, err
	}
	mine := copyCooks(list)
	r.mu.Lock()
	defer r.mu.Unlock()
	r.kept = slices.DeleteFunc(r.kept, func(k keptCooks) bool { return k.study == studyID && k.revision <= revision })
	if len(r.kept) >= mostRecent {
		r.kept = slices.Delete(r.kept, 0, 1)
	}
	r.kept = append(r.kept, keptCooks{studyID, revision, mine})
	return list, nil
}

// readAll reads the cooks of a study from its tables.
func readAll(q *query, studyID string, _ int64) ([]study.Cook, error) { return q.cooks(studyID) }

// copyCooks copies cooks so deep that neither copy can change the other.
func copyCooks(list []study.Cook) []study.Cook {
	out := slices.Clone(list)
	for i := range out {
		k := &out[i]
		k.Marks = slices.Clone(k.Marks)
		k.Weighings = slices.Clone(k.Weighings)
		k.Readings = slices.Clone(k.Readings)
		for j := range k.Readings {
			k.Readings[j].Values = slices.Clone(k.Readings[j].Values)
			k.Readings[j].Grades = slices.Clone(k.Readings[j].Grades)
		}
		k.Deviations = slices.Clone(k.Deviations)
		k.Logs = slices.Clone(k.Logs)
		k.Clocks = slices.Clone(k.Clocks)
		k.Photos = slices.Clone(k.Photos)
	}
	return out
}
