package logfile

import (
	"bytes"
	"errors"
	"io"
	"math"
	"runtime"
	"slices"
	"sync"
	"unicode/utf8"

	"trivet/fault"
)

// Options say how a table is read. The zero value guesses everything.
type Options struct {
	// Types fixes what columns hold, by name; others are guessed.
	Types map[string]Type
	// Forms fixes how time columns are written, by name.
	Forms map[string]TimeForm
	// Only, if not nil, names the columns that are read; others are skipped.
	Only []string
	// Delimiter and Decimal, if not 0, stand instead of the guess.
	Delimiter, Decimal byte
	// Sheet and Range say what of a workbook is read: a sheet by name ("" is
	// the first with cells) and a block of cells such as "B3:F900" or "B3:".
	Sheet, Range string
	// DateOrder says which of day and month comes first where dates allow
	// both; "" lets the column tell.
	DateOrder DateOrder
	Limits    Limits
	// Workers read blocks side by side; 0 takes two, or one on one core. The
	// result does not depend on it.
	Workers int
	// Raw receives every byte of the file as it was read.
	Raw io.Writer
	// Scratch gives room outside of the memory to what must be read at any
	// place and came packed or as a stream, and to the shared texts of a large
	// workbook. Without it they are held in memory, up to stated limits.
	Scratch func() (Scratch, error)

	window int // bytes of a block behind the first rows; 0 as many as are there
}

// Column is one column of a table. Only the slice of its type is filled.
type Column struct {
	Name     string
	Type     Type
	Numbers  []float64 // NaN where missing: the account says why
	Times    []int64   // µs, NoTime where missing; see TimeForm for what they count from
	Codes    []uint32  // of text: index into Levels
	Levels   []string  // distinct texts in order of appearance
	Decimals int       // most decimals a number was written with
	Layout   ColumnLayout
}

// Text is the text of row i.
func (c *Column) Text(i int) string { return c.Levels[c.Codes[i]] }

// Table is a table read into typed columns.
type Table struct {
	Columns   []Column
	Rows      int // kept
	Layout    *Layout
	Account   Account
	SHA256    string // of the raw file, hex
	OffsetMin int    // minutes from UTC in the last time that told it
	HasOffset bool

	before int   // records above the first of this table
	out    []int // records kept out, ascending
}

// Column finds a column by name, nil if there is none.
func (t *Table) Column(name string) *Column {
	for i := range t.Columns {
		if t.Columns[i].Name == name {
			return &t.Columns[i]
		}
	}
	return nil
}

// Record is the record number (from 1, header not counted) of row i, which
// differs from i+1 once records were kept out.
func (t *Table) Record(i int) int {
	lo, hi := 0, len(t.out)
	for lo < hi {
		mid := (lo + hi) / 2
		if t.out[mid]-t.before-mid > i+1 { // kept records before out[mid]: out[mid]−before−1−mid
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return t.before + i + 1 + lo
}

const blockBytes = 1 << 20

// ReadColumns reads a delimited table into typed columns: RFC 4180 CSV and
// its relatives with semicolons, tabs or bars and decimal commas, in UTF-8,
// UTF-16 or an 8-bit code, plain or packed by gzip or zstd. Lines above the
// header and a second header line with units are allowed. Cells that cannot be
// read are missing and stand in the account with their row.
//
// It is the reader for any table; [Load] reads logs with it.
func ReadColumns(r io.Reader, opt Options) (*Table, error) {
	c := collector{most: opt.Limits.filled().MaxCells}
	t, err := readTable(r, opt, func(*Layout, *Options) error { return nil }, c.add)
	if err != nil {
		return nil, err
	}
	c.join(t)
	t.Account.sort()
	return t, nil
}

// begin opens a table and guesses its layout from the first block. The caller
// closes the source.
func begin(r io.Reader, opt Options) (*source, *blocks, *Layout, error) {
	src, err := open(r, opt)
	if err != nil {
		return nil, nil, nil, err
	}
	in := &blocks{r: src, limits: opt.Limits, window: opt.window}
	var layout *Layout
	if err = in.fill(); err == nil {
		layout, err = in.sniff(opt)
	}
	if err == nil {
		err = opt.DateOrder.follow(layout)
	}
	if err != nil {
		src.close()
		return nil, nil, nil, src.inCut(src.inSheet(err))
	}
	src.describe(layout)
	return src, in, layout, nil
}

// readTable reads a table window by window: use takes the rows of each with
// those of the next, nil behind the last, and the table that is returned holds
// no cells. Choose may change the options once the layout is known and before
// a record is read.
func readTable(r io.Reader, opt Options, choose func(*Layout, *Options) error, use func(window, next *Table) error) (*Table, error) {
	opt.Limits = opt.Limits.filled()
	src, in, layout, err := begin(r, opt)
	if err != nil {
		return nil, err
	}
	defer src.close()
	if err := choose(layout, &opt); err != nil {
		return nil, src.inCut(src.inSheet(err))
	}
	if opt.Decimal != 0 {
		layout.Decimal = string(opt.Decimal)
	}
	t, err := readBlocks(in, layout, opt, use)
	if err != nil {
		return nil, err
	}
	if src.account != nil { // whole by now: the text was read to its end
		for i := range t.Account.Problems {
			t.Account.Problems[i].Line = 0 // of the table in between, not of the file
		}
		t.Account.join(src.account, 0, 0)
		t.Account.Notes = append(t.Account.Notes, src.account.Notes...)
		t.Account.sort()
	}
	src.tellCut(t)
	t.SHA256, err = src.hash()
	return t, err
}

// Peek guesses the layout from the first block of a table and reads nothing
// else.
func Peek(r io.Reader, opt Options) (*Layout, error) {
	opt.Limits = opt.Limits.filled()
	src, _, layout, err := begin(r, opt)
	if err != nil {
		return nil, err
	}
	src.close()
	return layout, nil
}

// blocks cuts a text into blocks of whole rows.
type blocks struct {
	r      io.Reader
	limits Limits
	buf    []byte // what was read and not yet cut
	eof    bool
	torn   []byte // the last row, where it had no line end
	window int
}

// fill reads until the buffer holds a block or the text ends.
func (b *blocks) fill() error {
	size := blockBytes
	if len(b.buf) >= size { // a row longer than a block: take what the limit allows
		size = len(b.buf) + blockBytes
	}
	if cap(b.buf) < size+1 {
		b.buf = slices.Grow(b.buf, size+1-len(b.buf))
	}
	for len(b.buf) < size && !b.eof {
		n, err := b.r.Read(b.buf[len(b.buf):size])
		b.buf = b.buf[:len(b.buf)+n]
		if errors.Is(err, io.EOF) {
			b.eof = true
		} else if err != nil {
			return readFault(err)
		}
	}
	// Line ends of old machines: carriage returns alone.
	if bytes.IndexByte(b.buf, '\n') < 0 && bytes.IndexByte(b.buf, '\r') >= 0 {
		for i, c := range b.buf {
			if c == '\r' {
				b.buf[i] = '\n'
			}
		}
	}
	return nil
}

// sniff guesses the layout and drops what stands above the records.
func (b *blocks) sniff(opt Options) (*Layout, error) {
	if len(bytes.TrimSpace(b.buf)) == 0 && b.eof {
		return nil, fault.New("log-empty", "the file is empty")
	}
	head := b.buf[:min(len(b.buf), 256<<10)]
	if bytes.IndexByte(head, '\n') < 0 {
		for bytes.IndexByte(b.buf, '\n') < 0 && !b.eof && len(b.buf) <= opt.Limits.MaxLine {
			if err := b.fill(); err != nil {
				return nil, err
			}
		}
		head = b.buf
		if n := bytes.IndexByte(head, '\n'); n < 0 && (!b.eof || len(head) > opt.Limits.MaxLine) || n > opt.Limits.MaxLine {
			return nil, b.lineFault().AtRow(1)
		}
	}
	layout, err := sniffWith(head, b.eof && len(head) == len(b.buf), opt)
	if err != nil {
		return nil, err
	}
	layout.eightBit = !utf8.Valid(head[:bytes.LastIndexByte(head, '\n')+1])
	b.buf = b.buf[layout.data:]
	return layout, nil
}

// sniffWith guesses, then lets the options stand above the guess.
func sniffWith(head []byte, whole bool, opt Options) (*Layout, error) {
	if opt.Delimiter == 0 {
		l, err := sniff(head, whole, opt.Limits)
		if err != nil || opt.Decimal == 0 || l.Decimal[0] == opt.Decimal {
			return l, err
		}
		opt.Delimiter = l.Delimiter[0]
	}
	l := &Layout{Delimiter: string(opt.Delimiter), Decimal: ".", rows: sample(head, opt.Delimiter, whole)}
	if opt.Decimal != 0 {
		l.Decimal = string(opt.Decimal)
	}
	if n, _ := modeWidth(l.rows); n > opt.Limits.MaxColumns {
		return nil, fault.New("log-columns", "the table has %d columns, at most %d are read", n, opt.Limits.MaxColumns)
	}
	return l, l.describe(head)
}

// next returns a block of whole rows that ends with a line end, nil at the
// end. The block is the caller's; what follows it is copied into spare.
func (b *blocks) next(comma byte, spare []byte) ([]byte, error) {
	for {
		end := 0
		if b.window > 0 && b.window < len(b.buf) {
			end = lastRowEnd(b.buf[:b.window], comma)
		}
		if end == 0 {
			end = lastRowEnd(b.buf, comma)
			if b.eof {
				end = len(b.buf)
			}
		}
		if end > 0 {
			block := b.buf[:end]
			b.buf = append(spare[:0], b.buf[end:]...)
			if b.eof && len(b.buf) == 0 && block[len(block)-1] != '\n' {
				b.torn = lastRow(block, comma)
				block = append(block, '\n')
			}
			return block, nil
		}
		if b.eof {
			return nil, nil
		}
		if len(b.buf) > b.limits.MaxLine {
			return nil, b.lineFault()
		}
		if err := b.fill(); err != nil {
			return nil, err
		}
	}
}

func (b *blocks) lineFault() *fault.Error {
	return fault.New("log-line", "a row is longer than %d bytes", b.limits.MaxLine).
		WithFix("check for a quote that does not close, or a file without line ends")
}

// plan joins the layout and the options.
func (l *Layout) plan(opt Options) (*plan, error) {
	p := &plan{comma: l.Delimiter[0], header: l.header, maxLine: opt.Limits.MaxLine, sparse: l.Kind == "workbook"}
	known := map[string]bool{}
	for i := range l.Columns {
		c := &l.Columns[i]
		known[c.Name] = true
		if f, ok := opt.Forms[c.Name]; ok {
			c.Type, c.Form, c.Sure, c.Why, c.twoOrders = Time, f, true, "as told", false
		}
		if t, ok := opt.Types[c.Name]; ok && t != c.Type {
			c.Type, c.Sure, c.Why = t, true, "as told"
		}
		if opt.Only != nil && !slices.Contains(opt.Only, c.Name) {
			c.Type = Skip
		}
		if c.Type == Time && c.Form == "" {
			return nil, fault.BadUsage("log-time-form", "column %q holds no times of a known form", c.Name).On("form", c.Name)
		}
		plan := columnPlan{name: c.Name, typ: c.Type, form: c.Form, unit: c.cellUnit, decimal: l.decimalOf(i)}
		p.quoted = p.quoted || plan.decimal == p.comma
		if c.Type == Time && c.twoOrders {
			plan.otherForm = otherOrder(c.Form)
		}
		p.columns = append(p.columns, plan)
	}
	var asked []string
	asked = append(asked, opt.Only...)
	for n := range opt.Types {
		asked = append(asked, n)
	}
	for n := range opt.Forms {
		asked = append(asked, n)
	}
	slices.Sort(asked)
	for _, n := range asked {
		if !known[n] {
			return nil, fault.BadUsage("log-column", "there is no column %q", n).On("column", n).WithFix("the columns are: %s", columnNames(l))
		}
	}
	return p, nil
}

func columnNames(l *Layout) string {
	var b bytes.Buffer
	for i, c := range l.Columns {
		if i > 0 {
			b.WriteString(", ")
		}
		if i == 20 {
			b.WriteString("…")
			break
		}
		b.WriteString(c.Name)
	}
	return b.String()
}

// readBlocks hands blocks to workers and passes on what they made, in order.
func readBlocks(in *blocks, layout *Layout, opt Options, use func(window, next *Table) error) (*Table, error) {
	p, err := layout.plan(opt)
	if err != nil {
		return nil, err
	}
	n := opt.Workers
	if n <= 0 {
		n = min(2, runtime.GOMAXPROCS(0))
	}
	type job struct {
		block []byte
		out   chan *segment
	}
	jobs := make(chan job, n)
	spares := make(chan []byte, 2*n+1)
	var wg sync.WaitGroup
	for range n {
		wg.Go(func() {
			w := newWorker(p)
			for j := range jobs {
				j.out <- w.block(j.block)
				select {
				case spares <- j.block:
				default:
				}
			}
		})
	}
	a := newAssembly(layout, p, opt.Limits, use)
	var pending []chan *segment
	for err == nil {
		if err = in.fill(); err != nil {
			break
		}
		var spare []byte
		select {
		case spare = <-spares:
		default:
			spare = make([]byte, 0, blockBytes+blockBytes/8)
		}
		var block []byte
		if block, err = in.next(p.comma, spare); err != nil || block == nil {
			break
		}
		j := job{block, make(chan *segment, 1)}
		jobs <- j
		pending = append(pending, j.out)
		for err == nil && len(pending) > 2*n {
			err = a.take(<-pending[0])
			pending = pending[1:]
		}
	}
	close(jobs)
	for _, c := range pending {
		if s := <-c; err == nil {
			err = a.take(s)
		}
	}
	wg.Wait()
	if err != nil {
		if e := fault.As(err); e != nil && e.Code == "log-line" && e.Row == 0 {
			return nil, e.AtRow(a.table.Account.Rows + 1)
		}
		return nil, err
	}
	return a.finish(in.torn)
}

// assembly accounts for segments and passes each on as a table of its rows, a
// window. It holds one back, so that the last is known when it is passed on.
type assembly struct {
	table  *Table // everything but the cells
	plan   *plan
	limits Limits
	use    func(window, next *Table) error
	held   *Table
	levels []map[string]uint32
	lines  int
}

func newAssembly(layout *Layout, p *plan, limits Limits, use func(window, next *Table) error) *assembly {
	a := &assembly{table: &Table{Layout: layout, Account: Account{Counts: map[ProblemKind]int{}}}, plan: p, limits: limits, use: use, lines: layout.DataLine - 1}
	a.levels = make([]map[string]uint32, len(p.columns))
	for i, c := range p.columns {
		a.table.Columns = append(a.table.Columns, Column{Name: c.name, Type: c.typ, Layout: layout.Columns[i]})
		if c.typ == Text {
			a.levels[i] = map[string]uint32{}
		}
	}
	return a
}

// take accounts for the next segment and passes on the one before.
func (a *assembly) take(s *segment) error {
	t := a.table
	if s.longest > 0 {
		return fault.New("log-line", "a row is longer than %d bytes", a.limits.MaxLine).AtRow(t.Account.Rows + s.longest).
			WithFix("check for a quote that does not close, or raise the limit")
	}
	if s.openQuote > 0 {
		return fault.New("log-quote", "a quoted cell does not end").AtRow(t.Account.Rows + s.openQuote).
			WithFix("close the quote, or double quotes inside a quoted cell")
	}
	w := &Table{Columns: make([]Column, len(t.Columns)), Rows: s.rows, Layout: t.Layout, before: t.Account.Rows}
	for _, r := range s.out {
		w.out = append(w.out, t.Account.Rows+r)
	}
	t.Account.join(&s.account, t.Account.Rows, a.lines)
	t.Account.Rows += s.records
	t.Account.Empty += s.empty
	a.lines += s.lines
	if s.hasOff {
		t.OffsetMin, t.HasOffset = s.offset, true
	}
	for i := range t.Columns {
		c := &t.Columns[i]
		c.Decimals = max(c.Decimals, s.decimals[i])
		if c.Type == Text {
			a.recode(c, a.levels[i], s.codes[i], s.levels[i])
		}
		w.Columns[i] = *c
		w.Columns[i].Numbers, w.Columns[i].Times, w.Columns[i].Codes = s.numbers[i], s.times[i], s.codes[i]
	}
	was := a.held
	a.held = w
	if was == nil {
		return nil
	}
	return a.pass(was, w)
}

func (a *assembly) pass(w, next *Table) error {
	a.table.Rows += w.Rows
	return a.use(w, next)
}

// recode turns a segment's codes into codes of the whole column.
func (a *assembly) recode(c *Column, known map[string]uint32, codes []uint32, levels []string) {
	to := make([]uint32, len(levels))
	same := true
	for i, s := range levels {
		code, ok := known[s]
		if !ok {
			code = uint32(len(c.Levels))
			known[s] = code
			c.Levels = append(c.Levels, s)
		}
		to[i] = code
		same = same && code == uint32(i)
	}
	if !same {
		for i, v := range codes {
			codes[i] = to[v]
		}
	}
}

// finish passes on the last window.
func (a *assembly) finish(torn []byte) (*Table, error) {
	t := a.table
	if w := a.held; w != nil {
		if torn != nil {
			w.Account = t.Account
			if !w.dropTorn() {
				w.doubtTorn(torn, a.plan, a.lines)
			}
			t.Account = w.Account
		}
		if err := a.pass(w, nil); err != nil {
			return nil, err
		}
	}
	t.Account.Kept = t.Rows
	t.Account.sort()
	return t, nil
}

// collector keeps windows to make one table of them.
type collector struct {
	windows []*Table
	most    int // cells
	rows    int
}

func (c *collector) add(w, _ *Table) error {
	c.windows = append(c.windows, w)
	if c.rows += w.Rows; c.rows*len(w.Columns) > c.most {
		return tooManyCells(c.most, w)
	}
	return nil
}

func tooManyCells(most int, w *Table) error {
	return fault.New("log-size", "the table has more than %d cells", most).AtRow(w.Record(w.Rows - 1)).
		WithFix("read fewer columns, split the file, or raise the limit")
}

// join puts the rows of all windows into t; each column's windows are let go
// once joined. The order of day and month is settled by the whole column.
func (c *collector) join(t *Table) {
	for _, w := range c.windows {
		t.out = append(t.out, w.out...)
	}
	var wg sync.WaitGroup
	for i := range t.Columns {
		wg.Go(func() {
			to := &t.Columns[i]
			switch to.Type {
			case Number:
				to.Numbers = joined(c, func(w *Table) *[]float64 { return &w.Columns[i].Numbers })
			case Time:
				to.Times = joined(c, func(w *Table) *[]int64 { return &w.Columns[i].Times })
			case Text:
				to.Codes = joined(c, func(w *Table) *[]uint32 { return &w.Columns[i].Codes })
			}
		})
	}
	wg.Wait()
	for i := range t.Columns {
		if layout := &t.Layout.Columns[i]; layout.Type == Time && layout.twoOrders {
			t.settleOrder(&t.Columns[i], layout)
		}
	}
}

func joined[T any](c *collector, of func(*Table) *[]T) []T {
	out := make([]T, 0, c.rows)
	for _, w := range c.windows {
		part := of(w)
		out = append(out, *part...)
		*part = nil
	}
	return out
}

// Missing is how many numbers of the column are missing.
func (c *Column) Missing() int {
	n := 0
	for _, v := range c.Numbers {
		if math.IsNaN(v) {
			n++
		}
	}
	return n
}
