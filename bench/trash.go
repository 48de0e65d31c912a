package bench

import (
	"context"
	"time"

	"trivet/study"
)

// Kinds of history entry of the trash. A study in the trash is out of sight,
// not gone: its record, seal and samples stay, and the latest of the two
// entries tells where it is.
const (
	EventTrashed  study.EventKind = "trashed"
	EventRestored study.EventKind = "restored"
)

// Trash puts a study into the trash. A study that is there already stays.
func Trash(ctx context.Context, nb Notebook, id string, now time.Time) error {
	return moveTrash(ctx, nb, id, study.Event{At: now, Study: id, Kind: EventTrashed, What: "the study was put into the trash"})
}

// Restore takes a study out of the trash. One that is not there stays.
func Restore(ctx context.Context, nb Notebook, id string, now time.Time) error {
	return moveTrash(ctx, nb, id, study.Event{At: now, Study: id, Kind: EventRestored, What: "the study was taken out of the trash"})
}

func moveTrash(ctx context.Context, nb Notebook, id string, e study.Event) error {
	rec, err := nb.Record(ctx, id)
	if err != nil {
		return err
	}
	if Trashed(rec.Events) == (e.Kind == EventTrashed) {
		return nil
	}
	return nb.AppendEvents(ctx, id, e)
}

// Trashed tells from a history whether the study is in the trash.
func Trashed(history []study.Event) bool {
	in := false
	for _, e := range history {
		switch e.Kind {
		case EventTrashed:
			in = true
		case EventRestored:
			in = false
		}
	}
	return in
}
