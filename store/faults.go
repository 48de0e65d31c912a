package store

import (
	"context"
	"errors"

	"trivet/fault"
)

// fail turns an error of the driver into one that says what to do. Errors
// that already are faults, and cancellation, pass unchanged.
func (n *Notebook) fail(err error) error { return failAt(n.path, err) }

func failAt(path string, err error) error {
	if err == nil {
		return nil
	}
	if fault.As(err) != nil || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	var f *fault.Error
	switch failureOf(err) {
	case failBusy:
		f = fault.New("notebook-locked", "another process is using the notebook and did not let go in time").
			WithFix("wait for it to end, or close it, and try again")
	case failReadOnly:
		f = fault.New("notebook-readonly", "the notebook cannot be written").
			WithFix("give yourself write permission on the file and its folder, or work on a copy")
	case failCorrupt:
		f = fault.New("notebook-corrupt", "the notebook is damaged or not a notebook").
			WithFix("keep the file as it is and restore the latest backup (trivet restore)")
	case failFull:
		f = fault.New("disk-full", "no room left to write; nothing of this step was kept").
			WithFix("free some space on the disk of the notebook and repeat the step")
	case failCantOpen:
		f = fault.New("notebook-unreadable", "the notebook, or what lies beside it, cannot be opened").
			WithFix("give yourself permission to read the file and its folder")
	case failIO:
		f = fault.New("notebook-io", "the disk refused to read or write; nothing of this step was kept").
			WithFix("check the disk and its free space, then repeat the step")
	default:
		f = &fault.Error{Kind: fault.Internal, Code: "notebook-internal", Message: "the notebook could not do this"}
	}
	return f.In(path).Wrap(err)
}

func unknownStudy(id string) *fault.Error {
	return fault.BadUsage("study-unknown", "no study %q in the notebook", id).On("study", id).
		WithFix("list the studies with `trivet study list`")
}

func unknownCook(study, id string) *fault.Error {
	return fault.BadUsage("cook-unknown", "no cook %q in study %q", id, study).On("cook", id)
}

func conflict(what, id string) *fault.Error {
	return fault.New("id-conflict", "%s %s is already there with different content", what, id).On("id", id).
		WithFix("give changed content a new id; the stored one stays")
}
