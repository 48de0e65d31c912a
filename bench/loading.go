package bench

import (
	"context"
	"fmt"
	"io"
	"slices"
	"time"

	"trivet/fault"
	"trivet/logfile"
	"trivet/study"
)

// LoadRequest is one log to load into one cook.
type LoadRequest struct {
	Name  string // of the file
	Log   io.Reader
	Cook  string         // label; "" finds the one label that the file's name holds
	Map   *logfile.Map   // nil guesses, or takes the first of Maps that fits
	Maps  []*logfile.Map // saved maps
	Now   time.Time
	Limit logfile.Limits
	// Sheet, Range and Session pick a part of the file; see
	// logfile.LoadOptions.
	Sheet, Range string
	Session      int
	DateOrder    logfile.DateOrder               // where the dates allow two orders
	Scratch      func() (logfile.Scratch, error) // see logfile.Options; nil holds in memory what must be read at any place
	// HeatOn gives the heat-on time on the log's clock from the first sample's
	// time; nil keeps what the cook says.
	HeatOn func(firstUS int64) int64
}

// Loaded is what loading a log did.
type Loaded struct {
	Cook    study.Cook
	Log     *logfile.Log
	Already bool // the cook had this very log, and its channels stand as they were read now
}

// Load reads a log into a cook's traces, keeping the raw bytes, in memory that
// does not grow with the log. The log's traces in the result hold no samples:
// they went to the notebook, all of them at once at the end. A cook that
// the notebook does not know is made from the run order's slot of that piece, or, for a spare, from the
// void cook of its block.
func Load(ctx context.Context, nb Notebook, rec *Record, q LoadRequest) (*Loaded, error) {
	cook, err := cookFor(rec, q)
	if err != nil {
		return nil, err
	}
	keep, err := nb.KeepLog(ctx, rec.Study.ID)
	if err != nil {
		return nil, err
	}
	defer keep.Close()
	log, err := logfile.Load(q.Log, logfile.LoadOptions{Map: q.Map, Maps: q.Maps, Limits: q.Limit, Raw: keep, Sink: keep, Sheet: q.Sheet, Range: q.Range, Session: q.Session, DateOrder: q.DateOrder, Scratch: q.Scratch})
	if err != nil {
		return nil, inFile(err, q.Name)
	}
	if err := holdsSamples(log); err != nil {
		return nil, inFile(err, q.Name)
	}
	out := &Loaded{Log: log}
	for _, l := range cook.Logs {
		out.Already = out.Already || l.SHA256 == log.SHA256
	}
	first := int64(1) << 62
	for _, e := range log.Extents {
		if e.Samples > 0 {
			first = min(first, e.FirstUS)
		}
	}
	told := "%s was loaded into cook %s"
	if out.Already { // the notebook keeps the entry where it reads otherwise now
		told = "%s was read anew into cook %s"
	}
	events := []study.Event{{At: q.Now, Study: rec.Study.ID, Kind: study.EventLoaded,
		What: fmt.Sprintf(told, q.Name, cook.Label), Detail: fmt.Sprintf(`{"sha256":%q}`, log.SHA256)}}
	out.Cook, err = keep.Commit(*cook, q.Name, func(c *study.Cook) {
		if q.HeatOn != nil {
			c.ZeroUS, c.ZeroSet = q.HeatOn(first), true
		}
		named := slices.IndexFunc(c.Logs, func(l study.LogRef) bool { return l.File == q.Name })
		switch {
		case named >= 0:
			c.Logs[named].SHA256 = log.SHA256
		case !slices.ContainsFunc(c.Logs, func(l study.LogRef) bool { return l.SHA256 == log.SHA256 }):
			c.Logs = append(c.Logs, study.LogRef{File: q.Name, SHA256: log.SHA256})
		}
	}, events...)
	return out, err
}

// holdsSamples refuses a log that gave no sample at all, which would look
// like a success.
func holdsSamples(log *logfile.Log) error {
	if len(log.Traces) == 0 {
		return fault.New("log-no-channel", "no column of this log was understood as a channel").
			WithFix("look with \"trivet load --dry-run\", and give a column map with --map")
	}
	for _, e := range log.Extents {
		if e.Present > 0 {
			return nil
		}
	}
	return fault.New("log-no-sample", "no row of this log gave a sample (%d rows read)", log.Account.Rows).
		WithFix("look with \"trivet load --dry-run\": the decimal sign, the time column or the header may have been taken wrongly")
}

// cookFor finds the cook a log belongs to, or makes it from the run order.
func cookFor(rec *Record, q LoadRequest) (*study.Cook, error) {
	labels := Labels(rec)
	label := q.Cook
	if label == "" {
		var err error
		if label, err = logfile.Assign(q.Name, labels); err != nil {
			return nil, err
		}
	}
	for i := range rec.Cooks {
		if rec.Cooks[i].Label == label || rec.Cooks[i].ID == label {
			c := rec.Cooks[i]
			c.Logs = slices.Clone(c.Logs)
			return &c, nil
		}
	}
	for _, s := range rec.Study.Design.RunOrder {
		if s.Piece == label {
			return &study.Cook{ID: NewID(q.Now, label), Label: label, Block: s.Block, Piece: s.Piece,
				Treatment: s.Treatment, Role: study.Planned, Order: s.Order}, nil
		}
	}
	for _, c := range openSpares(rec) {
		if c.Label == label {
			c.ID = NewID(q.Now, label)
			return &c, nil
		}
	}
	for _, p := range rec.Study.Pieces {
		if p.Spare && p.Label == label {
			return nil, fault.New("spare-waits", "%s is a spare, and no cook of block %s is void and without one", label, p.Block).
				WithFix("make the cook void that it replaces, by a rule of the plan; then load this log")
		}
	}
	return nil, fault.BadUsage("cook-unknown", "the study has no cook and no planned piece %q", label).
		WithFix("one of: %s", joinFew(labels, 12))
}

// inFile names the file of an error that does not say one.
func inFile(err error, name string) error {
	if f := fault.As(err); f != nil {
		return f.In(name)
	}
	return err
}
