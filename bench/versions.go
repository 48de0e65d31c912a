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

// Head is a study without what grows with its cooks: the record has no cooks
// and no history, and of what the document says the pieces, the run order and
// the cooks may be left out. It is for showing, not for changing.
type Head struct {
	*Record
	Cooks   int // how many there are
	Trashed bool
}

// Heads is a notebook that reads parts of a study, in a time that does not
// grow with its cooks.
type Heads interface {
	// Head reads a study's document, cook files and seal, code
	// "study-unknown" when there is no such study.
	Head(ctx context.Context, studyID string) (*Head, error)
	// FindCook reads one cook of a study by its label or id; its ID is empty
	// when there is none.
	FindCook(ctx context.Context, studyID, label string) (study.Cook, error)
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
