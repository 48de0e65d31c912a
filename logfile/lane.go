package logfile

import (
	"fmt"
	"math"
	"slices"

	"trivet/fault"
	"trivet/trace"
)

// lane is the channels that share their times: all of a wide log, one of a
// long. Its rows are spread, put in order, made into counts and handed to the
// sink.
type lane struct {
	name     string // of a long log's channel
	first    int    // number of its first channel
	channels []laneChannel
	account  Account
	seen     int // rows
	kept     int
	firstUS  int64
	strays   strays
	order    order
	gaps     gapFinder
	step     int64 // of the last run that was spread

	// Rows that are not yet settled.
	records []int
	times   []int64
	cells   [][]float64
	// The piece that is being filled.
	piece []int64
}

// laneChannel is one channel of a lane.
type laneChannel struct {
	MapChannel
	zero     float64 // no temperature is lower
	account  Account
	below    impossible
	counts   []int64
	missing  trace.Bitmap
	decimals int
	present  int
	large    largeCounts
}

func newLane(m *Map, first, n int, name string) *lane {
	x := &lane{name: name, first: first, channels: make([]laneChannel, n), cells: make([][]float64, n)}
	x.order.last, x.strays.last = NoTime, NoTime
	for i := range x.channels {
		c := &x.channels[i]
		c.MapChannel, c.zero = m.Channels[first+i], math.Inf(-1)
		if z, ok := absoluteZero[c.Unit]; ok {
			c.zero = z
		}
	}
	return x
}

// mostRun bounds how many rows of one time are spread out.
const mostRun = 1 << 20

// settle takes the rows whose time is certain, all of them at the end.
func (n *lane) settle(l *loader, end bool) error {
	spread := l.log.Map.Time.Spread
	upto := n.strays.mark(n, spread, end)
	if spread {
		if upto = n.spread(upto, end); n.strays.checked-upto > mostRun {
			return fault.New("log-spread", "more than %d rows have one time", mostRun).AtRow(n.records[upto]).
				WithFix("set spread: false in the column map, or check which column tells the time")
		}
	}
	n.seen += upto
	n.strays.checked -= upto
	rows := n.order.keep(n, upto)
	for len(rows) > 0 {
		room := l.pieceLen() - len(n.piece)
		part := rows[:min(len(rows), max(room, 0))]
		rows = rows[len(part):]
		n.piece = slices.Grow(n.piece, len(part))
		for _, i := range part {
			n.gaps.add(n.times[i], n.records[i])
			n.piece = append(n.piece, n.times[i])
		}
		for c := range n.channels {
			n.channels[c].take(n, c, part, l.decimals[n.first+c])
		}
		if len(n.piece) >= l.pieceLen() {
			if err := n.flush(l); err != nil {
				return err
			}
		}
	}
	n.records = append(n.records[:0], n.records[upto:]...)
	n.times = append(n.times[:0], n.times[upto:]...)
	for c, cells := range n.cells { // of a wide log they are the window's
		n.cells[c] = append(cells[:0], cells[upto:]...)
	}
	return nil
}

// take appends the counts of the rows of a channel.
func (c *laneChannel) take(n *lane, at int, rows []int, decimals int) {
	if decimals > c.decimals {
		t := trace.Trace{Quantum: 1, Counts: c.counts, Missing: c.missing}
		t.Refine(int64(math.Pow10(decimals - c.decimals)))
		c.counts, c.missing, c.decimals = t.Counts, t.Missing, decimals
	}
	scale := math.Pow10(c.decimals)
	large := mostCount / math.Pow10(trace.MostDecimals-c.decimals)
	cells := n.cells[at]
	c.counts = slices.Grow(c.counts, len(rows))
	for _, i := range rows {
		v := cells[i]
		count := math.Round(v * scale)
		switch {
		case math.IsNaN(v):
		case v < c.zero:
			c.below.add(&c.account, c.MapChannel, n.records[i], v)
		case math.Abs(count) >= mostCount:
			c.tooLarge(n.records[i], fmt.Sprint(v))
		default:
			c.present++
			if math.Abs(count) > large {
				c.large.add(n.records[i], int64(count), c.decimals)
			}
			c.counts = append(c.counts, int64(count))
			continue
		}
		c.missing.Set(len(c.counts))
		c.counts = append(c.counts, 0)
	}
}

// mostCount keeps counts where a float64 tells every integer apart.
const mostCount = 1 << 53

func (c *laneChannel) tooLarge(record int, value string) {
	c.account.add(Problem{Kind: NotANumber, Row: record, Column: c.Column, Value: value, Detail: "too large for a reading"})
}

// flush hands the piece to the sink.
func (n *lane) flush(l *loader) error {
	if len(n.piece) == 0 {
		return nil
	}
	if n.kept == 0 {
		n.firstUS = n.piece[0]
	}
	n.kept += len(n.piece)
	pieces := make([]trace.Trace, len(n.channels))
	for i := range n.channels {
		c := &n.channels[i]
		pieces[i] = trace.Trace{Channel: c.Channel, Elapsed: !l.log.Map.Time.Form.Absolute(), TimesUS: n.piece,
			Counts: c.counts, Missing: c.missing, Quantum: c.factor() / math.Pow10(c.decimals)}
	}
	err := l.sink.Samples(n.first, pieces)
	n.piece = n.piece[:0]
	for i := range n.channels {
		c := &n.channels[i]
		c.counts, c.missing = c.counts[:0], trace.Bitmap{}
	}
	return err
}

// end settles and hands over what is left.
func (n *lane) end(l *loader) error {
	if err := n.settle(l, true); err != nil {
		return err
	}
	n.order.end(n)
	return n.flush(l)
}

// tell joins what became of the lane's rows to the account.
func (n *lane) tell(a *Account) {
	joinWhole(a, &n.account)
	if d := n.order.duplicates; d > 2 && d*10 > n.seen {
		a.note("log-coarse-stamps", "%d of %d rows repeat the time stamp before them: if the stamps are coarser than the rate, set spread: true in the column map", d, n.seen)
	}
	n.gaps.tell(a, n.name)
}

// end joins what became of the channel's cells to the account, once it is
// known with how many decimals they are kept.
func (c *laneChannel) end(n *lane, a *Account, decimals int) Extent {
	c.present -= c.large.end(c, decimals)
	joinWhole(a, &c.account)
	c.below.note(a, c.MapChannel)
	if n.kept == 0 {
		return Extent{}
	}
	return Extent{Samples: n.kept, Present: c.present, FirstUS: n.firstUS, LastUS: n.order.last}
}

// largeCounts are samples that are lost if their channel is written more
// finely later: 2⁵³ counts of 10⁻⁹ are 9 million.
type largeCounts struct {
	list []largeCount
	more [trace.MostDecimals + 1]int // those not listed, by the decimals they bear
}

type largeCount struct {
	record, decimals int
	count            int64
}

func (x *largeCounts) add(record int, count int64, decimals int) {
	if len(x.list) < MostProblems {
		x.list = append(x.list, largeCount{record, decimals, count})
		return
	}
	bears := decimals
	for c := max(count, -count); bears < trace.MostDecimals && c <= mostCount/10; bears++ {
		c *= 10
	}
	x.more[bears]++
}

// end accounts for those lost at the final decimals and returns how many
// they are.
func (x *largeCounts) end(c *laneChannel, decimals int) int {
	lost := 0
	for _, k := range x.list {
		if times := int64(math.Pow10(decimals - k.decimals)); max(k.count, -k.count) > mostCount/times {
			c.tooLarge(k.record, fmt.Sprint(float64(k.count)/math.Pow10(k.decimals)))
			lost++
		}
	}
	for bears, k := range x.more {
		if bears < decimals && k > 0 {
			c.account.count(NotANumber, c.Column, k)
			c.account.Unlisted += k
			lost += k
		}
	}
	return lost
}

// spread shares out runs of one time evenly up to the next time; the last run
// takes the step of the run before. A row without a time keeps its place in a
// run. Of the first rows it returns how many are settled: a run that may go on
// is not.
func (n *lane) spread(rows int, end bool) int {
	for a := 0; a < rows; {
		us := n.times[a]
		b := a + 1
		for us != NoTime && b < rows && (n.times[b] == us || n.times[b] == NoTime) {
			b++
		}
		if b == rows && !end {
			return a
		}
		if k := int64(b - a); us != NoTime && k > 1 {
			if b < rows && n.times[b] > us {
				n.step = (n.times[b] - us) / k
			}
			for i := a; i < b; i++ {
				if n.times[i] != NoTime {
					n.times[i] = us + int64(i-a)*n.step
				}
			}
		}
		a = b
	}
	return rows
}

// order keeps the rows whose time is later than that of every row kept
// before, and accounts for the others.
type order struct {
	last       int64
	back, run  int // first record and length of a run of earlier rows
	by, before int64
	duplicates int
	rows       []int
}

// keep returns the rows to keep of the lane's first upto.
func (o *order) keep(n *lane, upto int) []int {
	o.rows = slices.Grow(o.rows[:0], upto)
	for i, us := range n.times[:upto] {
		switch {
		case us == NoTime: // in the account already
		case o.last == NoTime || us > o.last:
			o.end(n)
			o.rows, o.last = append(o.rows, i), us
		case us == o.last && o.run == 0:
			o.duplicates++
			n.account.add(Problem{Kind: DuplicateTime, Row: n.records[i], Column: n.name})
		default:
			if o.run == 0 || us < o.before {
				o.end(n)
				o.back, o.by = n.records[i], o.last-us
			}
			o.run++
			o.before = us
			n.account.add(Problem{Kind: OutOfOrder, Row: n.records[i], Column: n.name})
		}
	}
	return o.rows
}

// end ends a run of earlier rows.
func (o *order) end(n *lane) {
	if o.run >= 5 {
		n.account.add(Problem{Kind: ClockJump, Row: o.back, Column: n.name,
			Detail: fmt.Sprintf("the clock went back by %s; %d rows are kept out until it passes the time before", gapWords(float64(o.by)/1e6), o.run)})
	}
	o.run = 0
}
