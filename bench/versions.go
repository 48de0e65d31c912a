package bench

import (
	"context"
	"time"

	"trivet/study"
)

// Version names a state of a study: two equal versions have equal records.
type Version struct {
	Title    string
	Revision int64 // counts the changes, also those of other processes
	Updated  time.Time
}

// Versions is a notebook that tells the state of a study without reading it.
type Versions interface {
	// Version reads which state of a study is the current one; code
	// "study-unknown" when there is no such study.
	Version(ctx context.Context, studyID string) (Version, error)
}

// Replacing is a notebook that replaces a study's document only while it is
// still the one that was read, whichever process changed it meanwhile.
type Replacing interface {
	// ReplaceStudy is [Notebook.PutStudy] on condition that document and cook
	// files are those of was. Code "edited-meanwhile" when they are not.
	ReplaceStudy(ctx context.Context, was *Record, s *study.Study, document []byte, cookFiles map[string][]byte, events ...study.Event) error
}

// replace puts a changed document in the place of the one it was made from.
func replace(ctx context.Context, nb Notebook, was *Record, s *study.Study, document []byte, cookFiles map[string][]byte, events ...study.Event) error {
	if r, ok := nb.(Replacing); ok {
		return r.ReplaceStudy(ctx, was, s, document, cookFiles, events...)
	}
	return nb.PutStudy(ctx, s, document, cookFiles, events...)
}
