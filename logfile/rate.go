package logfile

// A log's rate: each channel keeps its own. In a long log the rows of a
// channel are those that name it; in a wide one a channel that is filled in
// every tenth row only has a step ten times the rows'.

// rates fills the median steps and the gaps of the sampled rows; name and
// value are the columns of a long log, −1 of a wide one.
func (g *Guess) rates(name, value int) {
	times := g.sampledTimes()
	cell := func(i, c int) string {
		if r := g.Layout.rows[i]; c >= 0 && c < len(r) {
			return r[c]
		}
		return ""
	}
	if g.Shape == Long {
		most := 0
		for k := range g.Channels {
			c := &g.Channels[k]
			var gaps []RowGap
			var n int
			c.PeriodS, gaps, n = step(times, func(i int) bool { return cell(i, name) == c.Name }, c.Name)
			g.Gaps = append(g.Gaps, gaps...)
			if n > most {
				most, g.PeriodS = n, c.PeriodS
			}
		}
		return
	}
	g.PeriodS, g.Gaps, _ = step(times, func(int) bool { return true }, "")
	for k := range g.Columns {
		if c := &g.Columns[k]; c.Role == RoleChannel {
			c.PeriodS, _, _ = step(times, func(i int) bool { return !isNoValue(cell(i, k)) }, "")
		}
	}
}

// sampledTimes are the times of the sampled rows in µs, NoTime where one has
// none.
func (g *Guess) sampledTimes() []int64 {
	l := g.Layout
	c, clock := -1, -1
	for i, col := range l.Columns {
		if col.Name == g.Time.Column {
			c = i
		}
		if col.Name == g.Time.Clock {
			clock = i
		}
	}
	p := timeParser{form: g.Time.Form, decimal: l.decimalOf(c)}
	pc := timeParser{form: Clock}
	out := make([]int64, len(l.rows))
	for i, r := range l.rows {
		out[i] = NoTime
		if c < 0 || c >= len(r) {
			continue
		}
		t, ok := p.parse([]byte(r[c]))
		if clock >= 0 && ok {
			ok = clock < len(r)
			if ok {
				var day int64
				day, ok = pc.parse([]byte(r[clock]))
				t += day
			}
		}
		if ok {
			out[i] = t
		}
	}
	return out
}

// step is the median step in seconds of the rows that are of a channel, with
// the gaps of more than five such steps, and how many rows there are.
func step(times []int64, of func(i int) bool, channel string) (s float64, gaps []RowGap, n int) {
	var us []float64
	var rows []int
	for i, t := range times {
		if t != NoTime && of(i) && (len(us) == 0 || float64(t) > us[len(us)-1]) {
			us, rows = append(us, float64(t)), append(rows, i+1)
		}
	}
	median := medianStep(us)
	for i := 1; i < len(us); i++ {
		if d := us[i] - us[i-1]; d > 5*median {
			gaps = append(gaps, RowGap{Row: rows[i], Seconds: d / 1e6, Channel: channel})
		}
	}
	return median / 1e6, gaps, len(us)
}
