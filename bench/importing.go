package bench

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"trivet/fault"
	"trivet/photo"
	"trivet/study"
	"trivet/trace"
)

// Imported says what an import did.
type Imported struct {
	Study   string
	Cooks   int
	Logs    int
	Notes   []fault.Note
	Already bool // the notebook held the same record
}

// ImportPackage takes a whole record over from a package: document, seal,
// history, cooks, samples and raw logs, as they were.
func ImportPackage(ctx context.Context, from Reader, id string, to Notebook, progress Progress) (*Imported, error) {
	rec, err := from.Record(ctx, id)
	if err != nil {
		return nil, err
	}
	traces := map[string][]trace.Trace{}
	var raw []RawFile
	seen := map[string]bool{}
	logs := 0
	for i, c := range rec.Cooks {
		progress.Report(i, len(rec.Cooks))
		ts, err := from.Traces(ctx, id, c.ID)
		if err != nil {
			return nil, err
		}
		traces[c.ID] = ts
		for _, sha := range rawOf(c, ts) {
			if seen[sha] {
				continue
			}
			seen[sha] = true
			f, err := from.Raw(ctx, sha)
			if err != nil {
				return nil, err
			}
			raw = append(raw, *f)
			logs++
		}
		for _, p := range c.Photos {
			if seen[p.SHA256] {
				continue
			}
			seen[p.SHA256] = true
			f, err := from.Raw(ctx, p.SHA256)
			if e := fault.As(err); e != nil && e.Code == "raw-unknown" {
				continue // the place where it was came without the picture
			}
			if err != nil {
				return nil, err
			}
			if err := photo.Bare(f.Bytes); err != nil {
				return nil, fault.As(err).In("cook "+c.Label).On("photo", p.ID)
			}
			raw = append(raw, *f)
		}
	}
	progress.Report(len(rec.Cooks), len(rec.Cooks))
	_, known := to.Record(ctx, id)
	if err := to.PutImported(ctx, rec, traces, raw); err != nil {
		return nil, err
	}
	return &Imported{Study: rec.Study.ID, Cooks: len(rec.Cooks), Logs: logs, Already: known == nil}, nil
}

// rawOf lists the raw files a cook rests on.
func rawOf(c study.Cook, traces []trace.Trace) []string {
	var out []string
	add := func(sha string) {
		if sha != "" && !slices.Contains(out, sha) {
			out = append(out, sha)
		}
	}
	for _, l := range c.Logs {
		add(l.SHA256)
	}
	for _, t := range traces {
		add(t.Source)
	}
	return out
}

// ImportFolder takes a plain folder over: its document and cook files, the
// cooks written in the document, and their logs. A study the notebook knows
// gets the new document; its seal, its other cooks and what was recorded
// beside the document (loaded logs, marks, weighings) stay, and the history
// says that it changed.
func ImportFolder(ctx context.Context, from Reader, id string, to Notebook, now time.Time, progress Progress) (*Imported, error) {
	rec, err := from.Record(ctx, id)
	if err != nil {
		return nil, err
	}
	known, err := to.Record(ctx, id)
	if f := fault.As(err); f != nil && f.Code == "study-unknown" {
		known, err = nil, nil
	}
	if err != nil {
		return nil, err
	}
	ev := study.Event{At: now, Study: id, Kind: study.EventCreated, What: "the study was imported from a folder"}
	if known != nil {
		ev.Kind, ev.What = study.EventChanged, "the study document was imported again"
		if string(known.Document) == string(rec.Document) && equalFiles(known.CookFiles, rec.CookFiles) {
			ev = study.Event{}
		} else if changed, err := changedParts(known, rec); err == nil && len(changed) > 0 {
			ev.What = "the study document changed: " + joinFew(changed, 5)
		}
	}
	// Everything is read before anything is written, so that a log that cannot
	// be read leaves the notebook as it was.
	cooks := make([]importedCook, len(rec.Cooks))
	for i, c := range rec.Cooks {
		progress.Report(i, len(rec.Cooks))
		if cooks[i], err = readImported(ctx, from, id, c); err != nil {
			return nil, err
		}
		c.ID = idFor(known, c, now)
		if known != nil {
			if old, ok := cookOf(known.Cooks, c.Label); ok {
				base, _ := cookOf(known.Study.Cooks, c.Label)
				c = keepRecorded(c, base, old)
			}
		}
		cooks[i].Cook = c
	}
	out := &Imported{Study: id, Cooks: len(rec.Cooks), Already: known != nil && ev.Kind == ""}
	var events []study.Event
	if ev.Kind != "" {
		events = append(events, ev)
	}
	if err := to.PutStudy(ctx, rec.Study, rec.Document, rec.CookFiles, events...); err != nil {
		return nil, err
	}
	for _, c := range cooks {
		if err := to.PutCook(ctx, id, c.Cook); err != nil {
			return nil, err
		}
		if len(c.traces) > 0 {
			if err := to.PutTraces(ctx, id, c.ID, c.traces, c.raw); err != nil {
				return nil, err
			}
			out.Logs += len(c.raw)
		}
	}
	progress.Report(len(rec.Cooks), len(rec.Cooks))
	return out, nil
}

// importedCook is a cook of a folder with its logs.
type importedCook struct {
	study.Cook
	traces []trace.Trace
	raw    []RawFile
}

func readImported(ctx context.Context, from Reader, studyID string, c study.Cook) (importedCook, error) {
	traces, err := from.Traces(ctx, studyID, c.ID)
	if err != nil {
		return importedCook{}, err
	}
	out := importedCook{Cook: c, traces: traces}
	for _, sha := range rawOf(c, traces) {
		f, err := from.Raw(ctx, sha)
		if err != nil {
			return importedCook{}, err
		}
		out.raw = append(out.raw, *f)
	}
	return out, nil
}

// idFor keeps the id of a cook the notebook knows by its label, else makes a
// UUIDv7 stamped now.
func idFor(known *Record, c study.Cook, now time.Time) string {
	if known != nil {
		for _, k := range known.Cooks {
			if k.Label == c.Label {
				return k.ID
			}
		}
	}
	if _, err := uuid.Parse(c.ID); err == nil {
		return c.ID
	}
	return NewID(now, c.Label)
}

// NewID makes a UUIDv7 (RFC 9562) of a time, its random part drawn from the
// hash of a name and the time, so that making it again gives the same id and
// a retry is harmless.
func NewID(at time.Time, name string) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%d|%s", at.UnixNano(), name))
	var u uuid.UUID
	copy(u[:], sum[:16])
	ms := at.UnixMilli()
	for i := range 6 {
		u[i] = byte(ms >> (8 * (5 - i)))
	}
	u[6] = u[6]&0x0f | 0x70
	u[8] = u[8]&0x3f | 0x80
	return u.String()
}

// HashOf is the SHA-256 of raw bytes, hex.
func HashOf(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

func equalFiles(a, b map[string][]byte) bool {
	if len(a) != len(b) {
		return false
	}
	for k, v := range a {
		if w, ok := b[k]; !ok || string(w) != string(v) {
			return false
		}
	}
	return true
}

// changedParts lists which parts of a plan differ between two records.
func changedParts(before, after *Record) ([]string, error) {
	a, err := study.SealNow(before.Study, before.CookFiles, time.Time{})
	if err != nil {
		return nil, err
	}
	b, err := study.SealNow(after.Study, after.CookFiles, time.Time{})
	if err != nil {
		return nil, err
	}
	changes, err := study.Compare(a, b)
	var out []string
	for _, c := range changes {
		out = append(out, c.String())
	}
	return out, err
}

func joinFew(all []string, n int) string {
	s := ""
	for i, x := range all {
		if i == n {
			return s + fmt.Sprintf(" and %d more", len(all)-n)
		}
		if i > 0 {
			s += "; "
		}
		s += x
	}
	return s
}
