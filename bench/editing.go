package bench

import (
	"context"
	"time"

	"trivet/fault"
	"trivet/study"
)

// Edit replaces a study's document and cook files by changed ones, under the
// id it has, and enters in the history what changed, in words. The same
// content again changes nothing. Errors are those of [study.Parse]; code
// "study-renamed" when the changed document names another study,
// "edited-meanwhile" when rec is no longer what the notebook holds: then
// nothing was changed.
func Edit(ctx context.Context, nb Notebook, rec *Record, document []byte, cookFiles map[string][]byte, now time.Time) (*study.Study, error) {
	return edit(ctx, nb, rec, document, cookFiles, study.Event{At: now})
}

// edit saves a document and enters e in the history. An entry without words
// says which sealed parts changed.
func edit(ctx context.Context, nb Notebook, rec *Record, document []byte, cookFiles map[string][]byte, e study.Event) (*study.Study, error) {
	if string(document) == string(rec.Document) && equalFiles(rec.CookFiles, cookFiles) {
		return rec.Study, nil
	}
	s, err := study.Parse("study.yaml", document)
	if err != nil {
		return nil, err
	}
	if s.ID != rec.Study.ID {
		return nil, fault.New("study-renamed", "the changed document belongs to another study").On("id", s.ID).
			WithFix("keep the line \"id: %s\", whatever the title", rec.Study.ID)
	}
	e.Study, e.Kind = s.ID, study.EventChanged
	told := e.What != ""
	if !told {
		e.What = "the study document changed"
	}
	if err := s.ReadCooks(cookFiles); err == nil {
		if changed, err := changedParts(rec, &Record{Study: s, CookFiles: cookFiles}); err == nil && len(changed) > 0 && !told {
			e.What += ": " + joinFew(changed, 5)
		}
	}
	return s, replace(ctx, nb, rec, s, document, cookFiles, e)
}

// Create adds a new study with the given title, to be filled in. Code
// "study-exists" when the notebook has one of that name.
func Create(ctx context.Context, nb Notebook, title string, now time.Time) (*study.Study, error) {
	b := study.Starter(title)
	s, err := study.Parse("study.yaml", b)
	if err != nil {
		return nil, err
	}
	_, err = nb.Record(ctx, s.ID)
	switch f := fault.As(err); {
	case err == nil:
		return nil, fault.New("study-exists", "there is a study of this name already").On("title", title).
			WithFix("give it another title")
	case f == nil || f.Code != "study-unknown":
		return nil, err
	}
	return s, nb.PutStudy(ctx, s, b, nil, study.Event{At: now, Study: s.ID, Kind: study.EventCreated, What: "the study was begun"})
}
