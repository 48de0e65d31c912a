package heat

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"trivet/fault"
)

// Sampling asks for a Monte Carlo run over the uncertain values of a cook.
type Sampling struct {
	N       int    // number of cooks, 2…1,000,000
	Seed    uint64 // kept in the result: the same seed gives the same numbers
	Workers int    // 0 is all cores; the number changes nothing but the time taken
	Options Options
	// Progress, when not nil, is told how many cooks are done, about a
	// hundred times, never from two goroutines at once.
	Progress func(done, n int)
}

// Band is the middle and the 5 % and 95 % points of a sampled value.
type Band struct {
	Median float64 `json:"median"`
	Low    float64 `json:"p05"`
	High   float64 `json:"p95"`
	// N is how many of the cooks have the value at all: a cook without a rest
	// has no carryover.
	N int `json:"n"`
}

// SampledResponse is a response of the cook over the samples.
type SampledResponse struct {
	ID string `json:"id"` // as in Summary's JSON, e.g. "core_peak_c"
	Band
	// Drivers says which uncertain values move it, strongest first: Spearman
	// rank correlations of at least 0.1.
	Drivers []Driver `json:"drivers,omitempty"`
}

// Driver is the rank correlation of a response with an uncertain value.
type Driver struct {
	Field string  `json:"field"`
	Rho   float64 `json:"rank_correlation"`
}

// BandSeries is a band over time.
type BandSeries struct {
	Median []float64 `json:"median"`
	Low    []float64 `json:"p05"`
	High   []float64 `json:"p95"`
}

// Samples is the outcome of a Monte Carlo run. The bands of the series cover
// the cooks still running at each time; the series end when fewer than half
// do.
type Samples struct {
	N         int               `json:"n"`
	Failed    int               `json:"failed"`
	Seed      uint64            `json:"seed"`
	TimeS     []float64         `json:"time_s"`
	CoreC     BandSeries        `json:"core_c"`
	BottomC   BandSeries        `json:"bottom_c"`
	TopC      BandSeries        `json:"top_c"`
	Responses []SampledResponse `json:"responses"`
	Notes     []fault.Note      `json:"notes,omitempty"`
}

// mostSeries bounds the points kept of each sampled series.
const mostSeries = 360

// Draws returns the uncertain values of sample i: substream i of the seed,
// one uniform number a value. Normal values are truncated to their physical
// bounds by the inverse of the distribution function.
func (c *Cook) Draws(seed uint64, i int) []float64 {
	stream := substream(seed, "cook inputs", uint64(i))
	out := make([]float64, len(c.Uncertain))
	for k, u := range c.Uncertain {
		out[k] = u.quantile((float64(stream.Uint64()>>11) + 0.5) / (1 << 53))
	}
	return out
}

// quantile returns the value below which a share p (0–1) of draws lies.
func (u Uncertain) quantile(p float64) float64 {
	if !u.Normal {
		return u.A + p*(u.B-u.A)
	}
	lo, hi := normalCDF((u.Lo-u.A)/u.B), normalCDF((u.Hi-u.A)/u.B)
	z := math.Sqrt2 * math.Erfinv(2*(lo+p*(hi-lo))-1)
	return max(u.Lo, min(u.Hi, u.A+u.B*z))
}

func normalCDF(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// substream returns the generator keyed by SHA-256 of seed, purpose and
// index, so that samples do not depend on who draws them when.
func substream(seed uint64, purpose string, index uint64) *rand.ChaCha8 {
	b := binary.LittleEndian.AppendUint64([]byte("trivet heat\x00"+purpose+"\x00"), seed)
	return rand.NewChaCha8(sha256.Sum256(binary.LittleEndian.AppendUint64(b, index)))
}

// response is one number taken from every sampled cook.
type response struct {
	id  string
	get func(*Summary) *float64
}

var sampledResponses = []response{
	{"pull_time_s", func(s *Summary) *float64 { return s.PullTimeS }},
	{"core_at_pull_c", func(s *Summary) *float64 { return s.CoreAtPullC }},
	{"core_peak_c", func(s *Summary) *float64 { return s.CorePeakC }},
	{"carryover_k", func(s *Summary) *float64 { return s.CarryoverK }},
	{"time_to_peak_s", func(s *Summary) *float64 { return s.TimeToPeakS }},
	{"surface_at_end_c", func(s *Summary) *float64 { return &s.SurfaceAtEndC }},
	{"even_share_pct", func(s *Summary) *float64 { return &s.EvenSharePct }},
	{"loss_pct", func(s *Summary) *float64 { return &s.LossPct }},
	{"drip_pct", func(s *Summary) *float64 { return &s.DripPct }},
	{"evaporated_pct", func(s *Summary) *float64 { return &s.EvaporatedPct }},
	{"boiled_pct", func(s *Summary) *float64 { return &s.BoiledPct }},
}

// oneSample is what is kept of a sampled cook.
type oneSample struct {
	err              error
	draws            []float64
	values           []float64 // by sampledResponses; NaN when the cook has none
	core, bottom, up []float32
}

// Sample simulates s.N cooks with the uncertain values of c drawn anew for
// each and returns medians and 90 % bands. It stops with ctx's error when ctx
// is cancelled. Cooks that cannot be simulated are counted and left out; when
// all fail, the first error is returned.
func (c *Cook) Sample(ctx context.Context, s Sampling) (*Samples, error) {
	if s.N < 2 || s.N > 1_000_000 {
		return nil, fault.BadUsage("samples", "the number of samples must lie between 2 and 1,000,000").On("--samples", fmt.Sprint(s.N)).WithFix("1000 is a good start")
	}
	if len(c.Uncertain) == 0 {
		return nil, fault.New("nothing-uncertain", "no value of the cook file is uncertain, so every sample would be the same").In(c.Name).
			WithFix("write what you do not know well as 400 ± 80 or [300, 500]")
	}
	opt := s.Options
	opt.Observer = nil
	step := orDefault(c.Spec.Output.EveryS, 5)
	longest, err := c.longestS(opt)
	if err != nil {
		return nil, err
	}
	every := 1 + int(longest/step)/mostSeries
	samples := make([]oneSample, s.N)
	c.runAll(ctx, s, opt, every, samples)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return c.reduce(s, samples, step*float64(every))
}

// longestS is how long the central cook takes, which sets the spacing of the
// kept series.
func (c *Cook) longestS(opt Options) (float64, error) {
	spec := c.Spec
	res, err := Simulate(&spec, opt)
	if err != nil {
		return 0, err
	}
	return res.TimeS[len(res.TimeS)-1], nil
}

func (c *Cook) runAll(ctx context.Context, s Sampling, opt Options, every int, samples []oneSample) {
	workers := s.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	var next, done atomic.Int64
	var tell sync.Mutex
	mark := max(1, s.N/100)
	var all sync.WaitGroup
	for range min(workers, s.N) {
		all.Go(func() {
			solver, res := NewSolver(), new(Result)
			for ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= s.N {
					return
				}
				samples[i] = c.one(solver, res, s.Seed, i, opt, every)
				if n := int(done.Add(1)); s.Progress != nil && (n%mark == 0 || n == s.N) {
					tell.Lock()
					s.Progress(n, s.N)
					tell.Unlock()
				}
			}
		})
	}
	all.Wait()
}

// one runs sample i; res is working memory.
func (c *Cook) one(solver *Solver, res *Result, seed uint64, i int, opt Options, every int) oneSample {
	draws := c.Draws(seed, i)
	spec := c.At(draws)
	spec.Output.DepthsM = nil
	if err := solver.RunInto(res, &spec, opt); err != nil {
		return oneSample{err: err}
	}
	out := oneSample{draws: draws, values: make([]float64, len(sampledResponses))}
	for k, r := range sampledResponses {
		out.values[k] = math.NaN()
		if v := r.get(&res.Summary); v != nil {
			out.values[k] = *v
		}
	}
	out.core, out.bottom, out.up = thin(res.CoreC, every), thin(res.BottomC, every), thin(res.TopC, every)
	return out
}

// thin keeps every n-th value.
func thin(v []float64, n int) []float32 {
	out := make([]float32, 0, len(v)/n+1)
	for i := 0; i < len(v); i += n {
		out = append(out, float32(v[i]))
	}
	return out
}

// reduce walks the samples in their order, whatever order they ran in.
func (c *Cook) reduce(s Sampling, samples []oneSample, stepS float64) (*Samples, error) {
	out := &Samples{N: s.N, Seed: s.Seed}
	if s.Options.Fast {
		out.Notes = append(out.Notes, fault.Notef("fast-grid", "The samples ran on the coarser grid; single cooks differ from the fine one by about 0.2 K in the core."))
	}
	good := make([]oneSample, 0, len(samples))
	var first error
	for _, one := range samples {
		if one.err == nil {
			good = append(good, one)
		} else if first == nil {
			first = one.err
		}
	}
	if len(good) == 0 {
		return nil, first
	}
	if out.Failed = s.N - len(good); out.Failed > 0 {
		out.Notes = append(out.Notes, fault.Notef("samples-failed", "%d of %d sampled cooks could not be simulated and are left out; the first: %v", out.Failed, s.N, first))
	}
	buf := make([]float64, 0, len(good))
	for k, r := range sampledResponses {
		resp := SampledResponse{ID: r.id}
		buf = buf[:0]
		for _, g := range good {
			if v := g.values[k]; !math.IsNaN(v) {
				buf = append(buf, v)
			}
		}
		if len(buf) == 0 {
			continue
		}
		resp.Band = bandOf(buf)
		resp.Drivers = c.drivers(good, k)
		out.Responses = append(out.Responses, resp)
	}
	for i := 0; ; i++ {
		n := 0
		for _, g := range good {
			if i < len(g.core) {
				n++
			}
		}
		if 2*n < len(good) || n == 0 {
			break
		}
		out.TimeS = append(out.TimeS, float64(i)*stepS)
		for _, line := range []struct {
			to  *BandSeries
			get func(oneSample) []float32
		}{
			{&out.CoreC, func(o oneSample) []float32 { return o.core }},
			{&out.BottomC, func(o oneSample) []float32 { return o.bottom }},
			{&out.TopC, func(o oneSample) []float32 { return o.up }},
		} {
			buf = buf[:0]
			for _, g := range good {
				if v := line.get(g); i < len(v) {
					buf = append(buf, float64(v[i]))
				}
			}
			b := bandOf(buf)
			line.to.Median = append(line.to.Median, b.Median)
			line.to.Low = append(line.to.Low, b.Low)
			line.to.High = append(line.to.High, b.High)
		}
	}
	return out, nil
}

// bandOf sorts v and returns its band.
func bandOf(v []float64) Band {
	slices.Sort(v)
	return Band{Median: quantileOf(v, 0.5), Low: quantileOf(v, 0.05), High: quantileOf(v, 0.95), N: len(v)}
}

// quantileOf returns the p-quantile of sorted v by linear interpolation of
// order statistics, definition 7 of R. J. Hyndman and Y. Fan, Am. Stat. 50
// (1996) 361.
func quantileOf(v []float64, p float64) float64 {
	h := p * float64(len(v)-1)
	i := int(h)
	if i+1 >= len(v) {
		return v[len(v)-1]
	}
	return v[i] + (h-float64(i))*(v[i+1]-v[i])
}

// drivers ranks the uncertain values by how strongly response k follows
// them.
func (c *Cook) drivers(good []oneSample, k int) []Driver {
	var rows []oneSample
	for _, g := range good {
		if !math.IsNaN(g.values[k]) {
			rows = append(rows, g)
		}
	}
	if len(rows) < 20 {
		return nil
	}
	y := ranks(len(rows), func(i int) float64 { return rows[i].values[k] })
	var out []Driver
	for j, u := range c.Uncertain {
		rho := correlation(ranks(len(rows), func(i int) float64 { return rows[i].draws[j] }), y)
		if math.Abs(rho) >= 0.1 {
			out = append(out, Driver{u.Field, rho})
		}
	}
	slices.SortStableFunc(out, func(a, b Driver) int {
		switch d := math.Abs(b.Rho) - math.Abs(a.Rho); {
		case d > 0:
			return 1
		case d < 0:
			return -1
		}
		return 0
	})
	return out
}

// ranks returns mid-ranks.
func ranks(n int, at func(int) float64) []float64 {
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch x, y := at(a), at(b); {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return 0
	})
	out := make([]float64, n)
	for i := 0; i < n; {
		j := i
		for j < n && at(order[j]) == at(order[i]) {
			j++
		}
		for k := i; k < j; k++ {
			out[order[k]] = float64(i+j-1) / 2
		}
		i = j
	}
	return out
}

// correlation returns Pearson's correlation, 0 when either is constant.
func correlation(x, y []float64) float64 {
	n := float64(len(x))
	var mx, my float64
	for i := range x {
		mx += x[i] / n
		my += y[i] / n
	}
	var sxy, sxx, syy float64
	for i := range x {
		sxy += (x[i] - mx) * (y[i] - my)
		sxx += (x[i] - mx) * (x[i] - mx)
		syy += (y[i] - my) * (y[i] - my)
	}
	if sxx == 0 || syy == 0 {
		return 0
	}
	return sxy / math.Sqrt(sxx*syy)
}
