package trace

import "math"

// heated tells which faces of the piece are heated.
type heated int

const (
	raw heated = iota
	faceA
	faceB
	bothFaces // an oven, a bath, a fryer
	offHeat
	heatedStates

	anyState heated = -1 // not known
)

// passage is what a change can make of one state: what both faces then do,
// and what that is called.
type passage struct {
	from, to heated
	moves    []moves
	kind     string
	sag      float64 // how the pan's sag counts
	cost     float64
	bySag    bool // told by the pan's sag alone
	warms    int  // the piece afterwards warms (1) or does not (−1)
}

// panJumpK is the least by which a pan heats a face that is turned onto it, K.
const panJumpK = 20

// warmsKS is how fast a piece warms in an oven at least, and resting at most,
// K/s of the mean of its sensors.
const warmsKS = 0.008

// costBySag is the cost of a turn of which one side is not felt.
const costBySag = 10

// panLeast is the gain from which a pan tells something by itself.
const panLeast = 12

func (p passage) withSag() passage {
	p.bySag = true
	return p
}

var passages = func() []passage {
	up, down := int8(1), int8(-1)
	out := []passage{
		{from: raw, to: bothFaces, moves: []moves{{up, up, false}, {up, up, true}}, kind: HeatOn, sag: 0},
		{from: bothFaces, to: offHeat, moves: []moves{{down, down, false}, {down, 0, false}, {0, down, false}}, kind: OffHeat, sag: -1, warms: -1},
	}
	// mirror adds a passage for face A and its like for face B.
	swap := [...]heated{raw: raw, faceA: faceB, faceB: faceA, bothFaces: bothFaces, offHeat: offHeat}
	mirror := func(p passage) {
		out = append(out, p)
		q := p
		q.from, q.to, q.moves = swap[p.from], swap[p.to], nil
		for _, m := range p.moves {
			q.moves = append(q.moves, moves{m.b, m.a, m.slow})
		}
		out = append(out, q)
	}
	mirror(passage{from: raw, to: faceA, moves: []moves{{up, 0, false}}, kind: HeatOn, sag: 1})
	mirror(passage{from: raw, to: faceA, moves: []moves{{up, 0, true}}, kind: HeatOn, sag: 1, cost: 4})
	mirror(passage{from: faceA, to: faceB, moves: []moves{{down, up, false}, {0, up, false}}, kind: Turn, sag: 1})
	mirror(passage{from: faceA, to: faceB, moves: []moves{{down, 0, false}}, kind: Turn, sag: 1, cost: costBySag}.withSag()) // the other face is too deep to tell
	mirror(passage{from: faceA, to: offHeat, moves: []moves{{down, 0, false}, {down, down, false}}, kind: OffHeat, sag: -1, warms: -1})
	mirror(passage{from: faceA, to: bothFaces, moves: []moves{{down, up, true}, {0, up, true}}, kind: Moved, sag: -1, cost: 12, warms: +1})
	mirror(passage{from: faceA, to: bothFaces, moves: []moves{{down, 0, false}}, kind: Moved, sag: -1, cost: 25, warms: +1})
	mirror(passage{from: bothFaces, to: faceA, moves: []moves{{up, 0, false}, {up, down, false}}, kind: Moved, sag: 1, cost: 10})
	mirror(passage{from: offHeat, to: faceA, moves: []moves{{up, 0, false}}, kind: Moved, sag: 1, cost: 40})
	out = append(out, passage{from: offHeat, to: bothFaces, moves: []moves{{up, up, true}, {up, up, false}}, kind: Moved, sag: 0, cost: 40})
	return out
}()

// named is a change with what it was.
type named struct {
	change
	kind   string
	from   heated
	to     heated
	by     int     // which of allMoves tells it
	gain   float64 // of the whole course with it
	margin float64 // by which the next best account of the moment is worse
}

var moveIndex = func() map[moves]int {
	m := map[moves]int{}
	for i, v := range allMoves {
		m[v] = i
	}
	return m
}()

// best way that a passage tells a change.
func (p *passage) gain(c *change) (gain float64, by int) {
	gain = math.Inf(-1)
	for _, m := range p.moves {
		i := moveIndex[m]
		t := c.told[i]
		if p.kind == Turn && max(t.jumpK[0], t.jumpK[1]) < panJumpK && !p.bySag {
			continue
		}
		if t.gain > 0 && t.gain > gain {
			gain, by = t.gain, i
		}
	}
	if p.warms > 0 && c.warming < warmsKS || p.warms < 0 && c.warming > warmsKS {
		return math.Inf(-1), by
	}
	if p.bySag && c.pan < panLeast {
		return math.Inf(-1), by
	}
	return gain - p.cost + p.sag*c.pan, by
}

// sequence names changes so that the piece goes from state to state as it can:
// laid on, turned from side to side, taken off. It is the sequence of greatest
// likelihood (A. J. Viterbi 1967, IEEE Trans. Information Theory 13, 260–269).
// What a state cannot do is left out.
func sequence(changes []change, began heated) (out []named, total float64) {
	type cell struct {
		gain float64
		from heated
		via  int // passage; −1 leaves the change out
		by   int
	}
	least := math.Inf(-1)
	now := [heatedStates]float64{}
	for s := range now {
		if began != anyState && heated(s) != began {
			now[s] = least
		}
	}
	table := make([][heatedStates]cell, len(changes))
	for k := range changes {
		var next [heatedStates]float64
		for s := range next {
			next[s] = now[s]
			table[k][s] = cell{now[s], heated(s), -1, 0}
		}
		for v := range passages {
			p := &passages[v]
			if math.IsInf(now[p.from], -1) {
				continue
			}
			g, by := p.gain(&changes[k])
			if g < leastGain {
				continue
			}
			if now[p.from]+g > next[p.to] {
				next[p.to] = now[p.from] + g
				table[k][p.to] = cell{next[p.to], p.from, v, by}
			}
		}
		now = next
	}
	end := max(began, raw)
	for s := range now {
		if now[s] > now[end] {
			end = heated(s)
		}
	}
	total = now[end]
	state := end
	for k := len(changes) - 1; k >= 0; k-- {
		c := table[k][state]
		if c.via >= 0 {
			p := passages[c.via]
			g, _ := p.gain(&changes[k])
			out = append(out, named{change: changes[k], kind: p.kind, from: p.from, to: p.to, by: c.by, gain: g, margin: g - rival(&changes[k], p)})
		}
		state = c.from
	}
	for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
		out[i], out[j] = out[j], out[i]
	}
	return out, total
}

// rival is the gain of the best other account of a change from the same
// state; 0 is that nothing happened.
func rival(c *change, p passage) float64 {
	best := 0.0
	for v := range passages {
		if o := &passages[v]; o.from == p.from && o.kind != p.kind {
			g, _ := o.gain(c)
			best = max(best, g)
		}
	}
	return best
}
