// Package bench holds trivet's use cases: it joins a place where records are
// kept (a [Notebook]) with the domain packages.
package bench

import (
	"context"
	"io"
	"time"

	"trivet/logfile"
	"trivet/study"
	"trivet/trace"
)

// Record is a study as a notebook keeps it: the document exactly as written
// and its parsed form, the seal if any, and what the cooks recorded.
// Samples are read apart, with [Notebook.Traces].
type Record struct {
	Document []byte // study.yaml, byte for byte
	// CookFiles are the cook files the document names, by relative path.
	CookFiles map[string][]byte
	Study     *study.Study
	Seal      *study.Seal
	Cooks     []study.Cook
	Events    []study.Event
	Created   time.Time
	Updated   time.Time
}

// RawFile is a log exactly as it came.
type RawFile struct {
	SHA256 string // hex
	Name   string
	Bytes  []byte
}

// Summary is a study in a list.
type Summary struct {
	ID, Title string
	Cooks     int
	Sealed    bool
	Trashed   bool // in the trash: see [Trash]
	Updated   time.Time
}

// Reader reads studies. Errors are *fault.Error: code "study-unknown" when
// there is no such study, "notebook-locked", "notebook-corrupt",
// "notebook-newer", "raw-unknown".
type Reader interface {
	Studies(ctx context.Context) ([]Summary, error)
	Record(ctx context.Context, studyID string) (*Record, error)
	Traces(ctx context.Context, studyID, cookID string) ([]trace.Trace, error)
	Raw(ctx context.Context, sha256 string) (*RawFile, error)
	Close() error
}

// Notebook is a Reader that can be written. Each call is one transaction:
// it happens whole or not at all. Putting a record with a known id and equal
// content does nothing; with different content it is refused with code
// "id-conflict" unless the method says that it replaces.
type Notebook interface {
	Reader
	// PutStudy adds or replaces a study's document and cook files and
	// appends the events. The seal and the cooks stay.
	PutStudy(ctx context.Context, s *study.Study, document []byte, cookFiles map[string][]byte, events ...study.Event) error
	// PutSeal records a seal, once; a second, different one is refused with
	// code "sealed-already".
	PutSeal(ctx context.Context, studyID string, seal study.Seal, events ...study.Event) error
	// PutCook adds or replaces a cook's record without its samples.
	PutCook(ctx context.Context, studyID string, c study.Cook, events ...study.Event) error
	// PutTraces replaces the samples of a cook that came from the same raw
	// files, and keeps the raw bytes.
	PutTraces(ctx context.Context, studyID, cookID string, traces []trace.Trace, raw []RawFile, events ...study.Event) error
	// KeepLog begins to keep a log of any length piece by piece.
	KeepLog(ctx context.Context, studyID string) (LogWriter, error)
	// AppendEvents adds history entries; Seq and Hash are filled in by the
	// notebook.
	AppendEvents(ctx context.Context, studyID string, events ...study.Event) error
	// PutImported adds a whole record, with its history as it was. Equal
	// content does nothing; different content is refused with "id-conflict".
	PutImported(ctx context.Context, r *Record, traces map[string][]trace.Trace, raw []RawFile) error
}

// LogWriter keeps a log while it is read, in memory that does not grow with
// it: it takes the raw bytes in order and, as a logfile.Sink, the samples.
// Nothing is in the notebook before Commit returns nil, and everything then.
type LogWriter interface {
	io.Writer
	logfile.Sink
	// Commit puts the cook with what edit makes of it, the samples in place of
	// those of the same log, the raw bytes under a name and the events. The
	// cook that is edited is the notebook's where that knows the id. Where
	// nothing differs no event is added.
	Commit(cook study.Cook, name string, edit func(*study.Cook), events ...study.Event) (study.Cook, error)
	Close() error // lets go of what was not committed
}

// CookLog adds what happens in a cook entry by entry, as it happens: a
// retried entry with a known id and equal content does nothing, with
// different content it is refused with code "id-conflict". When a call
// returns nil the entry is on disk.
type CookLog interface {
	AddMark(ctx context.Context, studyID, cookID string, m study.Mark, events ...study.Event) error
	AddWeighing(ctx context.Context, studyID, cookID string, w study.Weighing, events ...study.Event) error
	AddReading(ctx context.Context, studyID, cookID string, r study.Reading, events ...study.Event) error
	AddDeviation(ctx context.Context, studyID, cookID string, d study.Deviation, events ...study.Event) error
}

// PhotoBook keeps pictures. They are read by their hash with [Reader.Raw]; a
// picture that no cook names any more is gone.
type PhotoBook interface {
	// AddPhoto adds a photo to a cook, after those it has, as [CookLog] adds
	// entries. Captions and the trash are changed with [Notebook.PutCook].
	AddPhoto(ctx context.Context, studyID, cookID string, p study.Photo, picture []byte, events ...study.Event) error
}

// Sink takes the samples of a running cook.
type Sink interface {
	// AppendSamples adds samples to the cook's traces: each trace of the
	// batch holds what came of one channel since the last call. They are on
	// disk when it returns nil. Sending the same samples again does nothing.
	AppendSamples(ctx context.Context, studyID, cookID string, batch []trace.Trace) error
	// FinishSamples makes what was appended compact. Reading gives the same
	// samples before and after.
	FinishSamples(ctx context.Context, studyID, cookID string, events ...study.Event) error
}

// StoredResponse is a computed value of one cook. InputHash names all it was
// computed from and with, so that a changed input or method is seen.
type StoredResponse struct {
	CookID    string
	Response  string
	InputHash string
	Body      []byte // JSON
}

// StoredFinding is an answer as it was given.
type StoredFinding struct {
	At        time.Time
	InputHash string
	Body      []byte // JSON
}

// ResponseStore keeps what was computed, so that an answer need not read
// samples again.
type ResponseStore interface {
	// PutResponses adds or replaces computed values, all or none.
	PutResponses(ctx context.Context, studyID string, r []StoredResponse) error
	// Responses reads the stored values of one response, "" for all, by cook
	// in the order the cooks came.
	Responses(ctx context.Context, studyID, response string) ([]StoredResponse, error)
	// PutFinding keeps an answer; an equal latest one is not kept twice.
	PutFinding(ctx context.Context, studyID string, f StoredFinding, events ...study.Event) error
	// Findings reads the answers given, oldest first.
	Findings(ctx context.Context, studyID string) ([]StoredFinding, error)
}
