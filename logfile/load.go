package logfile

import (
	"io"

	"trivet/fault"
	"trivet/trace"
)

// LoadOptions say how a log is loaded. The zero value guesses everything.
type LoadOptions struct {
	Map *Map // what the columns are; nil takes the guess
	// Sheet and Range say what of a workbook is read where no map says it;
	// see [Options].
	Sheet, Range string
	// Session picks one of several logs glued into one file, from 1; 0 takes
	// the one with the most rows.
	Session int
	// DateOrder says which of day and month comes first where no map says it
	// and the dates allow both.
	DateOrder DateOrder
	Maps      []*Map // saved maps: the first that fits the file stands instead of the guess
	Limits    Limits
	Raw       io.Writer               // receives every byte of the file as it was read
	Scratch   func() (Scratch, error) // see [Options]
	// Sink takes the samples as they are read; the log's traces then hold
	// none, and a log of any length takes the memory of a few pieces. Where
	// only the whole column tells the order of day and month, the log is read
	// twice, for which it must be an io.Seeker. Nil keeps the samples in the
	// traces.
	Sink Sink

	window int // see [Options]
}

// Log is a loaded log: one trace for each channel, and what became of every
// row. Traces of a wide log share their times' memory.
type Log struct {
	Traces  []*trace.Trace
	Extents []Extent // of each trace
	Map     *Map     // as it was followed
	Guess   *Guess   // nil when a map was given
	Account Account
	SHA256  string // of the raw file, hex
}

// Extent is what a trace holds, also where its samples went to a sink.
type Extent struct {
	Samples, Present int   // all, and those with a value
	FirstUS, LastUS  int64 // 0 without samples
}

// Load reads a log into traces. Without a map it follows the guess that
// [Inspect] shows. A cell that is no number is a missing sample; a row whose
// time cannot be read, is not later than the one before, or repeats it is kept
// out; all of them stand in the account with their row.
func Load(r io.Reader, opt LoadOptions) (*Log, error) {
	log := &Log{Map: opt.Map}
	read := Options{Limits: opt.Limits, Raw: opt.Raw, Sheet: opt.Sheet, Range: opt.Range, DateOrder: opt.DateOrder, Scratch: opt.Scratch, window: opt.window}
	if log.Map != nil {
		if err := log.Map.check(); err != nil {
			return nil, err
		}
		log.Map.options(&read)
	}
	var dates *datesSeen
	if opt.Sink != nil && opt.Map == nil {
		var err error
		if dates, err = scanDates(r, read, opt.Maps); err != nil {
			return nil, err
		}
	}
	l := &loader{log: log, sink: opt.Sink, session: opt.Session}
	if l.sink == nil {
		l.sink, l.most = &memory{}, opt.Limits.filled().MaxCells
	}
	var whole *collector // of a log whose times are known at its end alone
	t, err := readTable(r, read, func(layout *Layout, o *Options) error {
		if log.Map != nil {
			return nil
		}
		dates.tell(layout)
		g, err := guess(layout)
		if err != nil {
			return err
		}
		g.sheet, g.cells = opt.Sheet, opt.Range
		log.Guess = g
		if log.Map = Match(opt.Maps, g); log.Map == nil {
			log.Map, l.own = g.Map(), true
		} else if err := log.Map.check(); err != nil {
			return err
		}
		log.Map.options(o)
		if l.own { // the whole column may still tell the order of its dates
			delete(o.Forms, log.Map.Time.Column)
			if g.twoOrders() && dates == nil {
				if opt.Sink != nil {
					return fault.New("log-date-order", "column %q may have day or month first, and this log is read only once", g.Time.Column).
						WithFix("say --date-order dmy or mdy, or write the form into a column map")
				}
				whole = &collector{most: l.most}
			}
		}
		return nil
	}, func(w, next *Table) error {
		if whole != nil {
			return whole.add(w, next)
		}
		return l.window(w, next)
	})
	if err != nil {
		return nil, err
	}
	if whole != nil {
		whole.join(t)
		if err := l.window(t, nil); err != nil {
			return nil, err
		}
	}
	log.SHA256, log.Account = t.SHA256, t.Account
	if l.own {
		log.Guess.settle()
		log.Map.Time.Form = log.Guess.Time.Form
		log.Account.Notes = append(log.Account.Notes, log.Guess.Notes...)
	}
	dates.note(&log.Account)
	if err := l.finish(t); err != nil {
		return nil, err
	}
	log.Account.sort()
	return log, nil
}

// options tells the table reader what the map knows.
func (m *Map) options(o *Options) {
	o.Delimiter, o.Decimal = m.Delimiter[0], m.Decimal[0]
	if m.Sheet != "" {
		o.Sheet = m.Sheet
	}
	if m.Range != "" {
		o.Range = m.Range
	}
	o.Types, o.Forms = map[string]Type{}, map[string]TimeForm{}
	o.Only = []string{m.Time.Column}
	if numberForms[m.Time.Form] > 0 {
		o.Types[m.Time.Column] = Number
	} else {
		o.Forms[m.Time.Column] = m.Time.Form
	}
	if m.Time.Clock != "" {
		o.Forms[m.Time.Clock] = Clock
		o.Only = append(o.Only, m.Time.Clock)
	}
	if m.Shape == Long {
		o.Types[m.Long.Name], o.Types[m.Long.Value] = Text, Number
		o.Only = append(o.Only, m.Long.Name, m.Long.Value)
		if m.Long.Unit != "" {
			o.Types[m.Long.Unit] = Text
			o.Only = append(o.Only, m.Long.Unit)
		}
		return
	}
	for _, c := range m.Channels {
		o.Types[c.Column] = Number
		o.Only = append(o.Only, c.Column)
	}
}
