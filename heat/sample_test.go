package heat

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"trivet/fault"
)

// heatedSlab is pure conduction from both faces, whose times scale with the
// square of the thickness and do not depend on the coefficient's Biot number
// in a way a test would have to guess: faces held at 60 °C.
const heatedSlab = `piece: {shape: slab, thickness: [20 mm, 40 mm], start: 5 °C, material: {conductivity: 0.5, density: 1050, specific_heat: 3500}}
moisture: off
legs:
  - {name: heat, bottom: {temperature: 60 °C}, top: {temperature: 60 °C}, ends_when: {core: 50 °C}}
  - {name: rest, rest: true, bottom: insulated, top: insulated, ends_when: {time: 5 min}}
output: {every: 10 s}
`

func mustCook(t testing.TB, src string) *Cook {
	t.Helper()
	c, err := ParseCook("test.yaml", []byte(src))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestSampleFollowsTheScalingOfConduction(t *testing.T) {
	c := mustCook(t, heatedSlab)
	got, err := c.Sample(context.Background(), Sampling{N: 400, Seed: 3, Options: Options{Fast: true}})
	if err != nil {
		t.Fatal(err)
	}
	// Core at 50 °C means θ = 2/11; the one-term solution of a slab whose
	// faces are held (4/π e^(−π²Fo/4), Carslaw & Jaeger 1959) gives Fo.
	fo := -4 / (math.Pi * math.Pi) * math.Log(2.0/11*math.Pi/4)
	timeFor := func(m float64) float64 { return fo * m * m / 4 / (0.5 / 1050 / 3500) }
	for _, r := range got.Responses {
		switch r.ID {
		case "pull_time_s":
			// The p-quantile of a monotone function of the thickness is its
			// value at the p-quantile, 20 mm + p·20 mm.
			for _, q := range []struct{ p, got float64 }{{0.05, r.Low}, {0.5, r.Median}, {0.95, r.High}} {
				if want := timeFor(0.02 + q.p*0.02); math.Abs(q.got/want-1) > 0.07 {
					t.Errorf("%v-quantile of the time is %.1f s, want about %.1f", q.p, q.got, want)
				}
			}
			if len(r.Drivers) != 1 || r.Drivers[0].Field != "piece.thickness" || r.Drivers[0].Rho < 0.999 {
				t.Errorf("drivers %+v", r.Drivers)
			}
		case "core_at_pull_c":
			if math.Abs(r.High-r.Low) > 0.01 || math.Abs(r.Median-50) > 0.01 {
				t.Errorf("core at the pull %+v", r.Band)
			}
		}
	}
	if got.Failed != 0 || len(got.TimeS) < 20 || len(got.CoreC.Median) != len(got.TimeS) {
		t.Errorf("failed %d, %d times", got.Failed, len(got.TimeS))
	}
	for i := range got.TimeS {
		if got.CoreC.Low[i] > got.CoreC.Median[i] || got.CoreC.Median[i] > got.CoreC.High[i] {
			t.Fatalf("band out of order at %v s", got.TimeS[i])
		}
	}
}

func TestSampleDoesNotDependOnWorkers(t *testing.T) {
	c := mustCook(t, heatedSlab)
	var want *Samples
	for _, workers := range []int{1, 2, 7} {
		got, err := c.Sample(context.Background(), Sampling{N: 60, Seed: 9, Workers: workers, Options: Options{Fast: true}})
		if err != nil {
			t.Fatal(err)
		}
		if want == nil {
			want = got
		} else if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%d workers: %s", workers, d)
		}
	}
	other, err := c.Sample(context.Background(), Sampling{N: 60, Seed: 10, Options: Options{Fast: true}})
	if err != nil {
		t.Fatal(err)
	}
	if cmp.Equal(want.Responses, other.Responses) {
		t.Error("another seed gave the same numbers")
	}
}

func TestSampleStops(t *testing.T) {
	c := mustCook(t, heatedSlab)
	ctx, cancel := context.WithCancel(context.Background())
	var once sync.Once
	var told []int
	_, err := c.Sample(ctx, Sampling{N: 100_000, Seed: 1, Options: Options{Fast: true}, Progress: func(done, n int) {
		told = append(told, done)
		once.Do(cancel)
	}})
	if !errors.Is(err, context.Canceled) || len(told) == 0 {
		t.Errorf("err %v after %v", err, told)
	}
}

func TestSampleRefuses(t *testing.T) {
	plain := mustCook(t, strings.Replace(heatedSlab, "[20 mm, 40 mm]", "30 mm", 1))
	if _, err := plain.Sample(context.Background(), Sampling{N: 10}); fault.As(err) == nil || fault.As(err).Code != "nothing-uncertain" {
		t.Errorf("nothing uncertain: %v", err)
	}
	if _, err := mustCook(t, heatedSlab).Sample(context.Background(), Sampling{N: 1}); fault.As(err) == nil || fault.As(err).Kind != fault.Usage {
		t.Errorf("one sample: %v", err)
	}
}

// A cook that fails for some draws is counted and said.
func TestSampleCountsFailures(t *testing.T) {
	// A bath between 45 and 65 °C never brings some cores to 55 °C.
	c := mustCook(t, strings.NewReplacer("[20 mm, 40 mm]", "20 mm", "{temperature: 60 °C}, top: {temperature: 60 °C}",
		"&f {bath: [45 °C, 65 °C], h: 300}, top: *f", "core: 50 °C", "core: 54 °C").Replace(heatedSlab))
	if len(c.Uncertain) != 1 {
		t.Fatalf("%d uncertain values", len(c.Uncertain))
	}
	got, err := c.Sample(context.Background(), Sampling{N: 80, Seed: 2, Options: Options{Fast: true}})
	if err != nil {
		t.Fatal(err)
	}
	if got.Failed < 20 || got.Failed > 60 || len(got.Notes) != 2 || got.Responses[0].N != 80-got.Failed {
		t.Errorf("failed %d, notes %v", got.Failed, got.Notes)
	}
}

func TestDrawsStayInsidePhysics(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		u := Uncertain{Normal: rapid.Bool().Draw(r, "normal"), Lo: 0, Hi: 1}
		u.A = rapid.Float64Range(0, 1).Draw(r, "a")
		u.B = rapid.Float64Range(1e-3, 10).Draw(r, "b")
		if !u.Normal {
			u.A, u.B = u.A/2, u.A/2+0.1
		}
		p := rapid.Float64Range(0, 1).Draw(r, "p")
		if v := u.quantile(p); !(v >= u.Lo && v <= u.Hi) {
			r.Fatalf("draw %v outside 0…1", v)
		}
		if q := min(1, p+0.1); u.quantile(q) < u.quantile(p) {
			r.Fatalf("quantiles fall between %v and %v", p, q)
		}
	})
}

// Moments of 20,000 draws, with standard errors of mean 1/√n and of SD
// 1/√(2n); and the quartiles of the standard normal distribution, ±0.67449.
func TestDrawsHaveTheStatedSpread(t *testing.T) {
	c := &Cook{Uncertain: []Uncertain{{Normal: true, A: 400, B: 80, Lo: 0, Hi: 50000}, {A: 3, B: 5, Lo: 0, Hi: 10}}}
	const n = 20000
	var sum, sum2, uni float64
	for i := range n {
		d := c.Draws(42, i)
		z := (d[0] - 400) / 80
		sum, sum2, uni = sum+z, sum2+z*z, uni+(d[1]-3)/2
	}
	if m := sum / n; math.Abs(m) > 4/math.Sqrt(n) {
		t.Errorf("mean %v", m)
	}
	if s := math.Sqrt(sum2 / n); math.Abs(s-1) > 4/math.Sqrt(2*n) {
		t.Errorf("SD %v", s)
	}
	if m := uni / n; math.Abs(m-0.5) > 4/math.Sqrt(12*n) {
		t.Errorf("uniform mean %v", m)
	}
	if q := c.Uncertain[0].quantile(0.75); math.Abs((q-400)/80-0.6744897502) > 1e-6 {
		t.Errorf("upper quartile %v (the bound at 5 SD hardly moves it)", q)
	}
}

// The stream is fixed for good: a changed number would change every kept
// result.
func TestDrawsAreFixed(t *testing.T) {
	got := substream(1, "cook inputs", 0).Uint64()
	const want = uint64(0xb53caba00432c58b)
	if got != want {
		t.Errorf("first draw of seed 1 is %#x, want %#x", got, want)
	}
	if substream(1, "cook inputs", 1).Uint64() == got || substream(2, "cook inputs", 0).Uint64() == got || substream(1, "other", 0).Uint64() == got {
		t.Error("substreams coincide")
	}
}

// R 4: quantile(1:10, c(.05, .5, .95)) = 1.45, 5.5, 9.55 (type 7, from its
// documented formula), and cor(method = "spearman") with ties by mid-ranks.
func TestQuantilesAndRanks(t *testing.T) {
	v := []float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}
	for p, want := range map[float64]float64{0.05: 1.45, 0.5: 5.5, 0.95: 9.55} {
		if got := quantileOf(v, p); math.Abs(got-want) > 1e-12 {
			t.Errorf("quantile %v = %v, want %v", p, got, want)
		}
	}
	x := []float64{3, 1, 4, 1, 5}
	if got := ranks(5, func(i int) float64 { return x[i] }); !slices.Equal(got, []float64{2, 0.5, 3, 0.5, 4}) {
		t.Errorf("mid-ranks %v", got)
	}
	if got := correlation([]float64{1, 2, 3, 4}, []float64{4, 3, 2, 1}); math.Abs(got+1) > 1e-12 {
		t.Errorf("correlation %v", got)
	}
	if correlation([]float64{1, 1}, []float64{1, 2}) != 0 {
		t.Error("a constant correlates")
	}
}

// Every draw of a cook with boiling, turns and spooned fat must end in a
// result or an error, in good time.
func TestSampledCooksEnd(t *testing.T) {
	src := strings.NewReplacer("contact: 400", "contact: 400 ± 80", "40 mm", "30 mm ± 1 mm", "start: 5 °C", "start: 5 °C ± 1 °C",
		"{core_rise: +10 °F}", "{every: 1 min}").Replace(chopFile)
	c := mustCook(t, src)
	solver := NewSolver()
	for i := range 60 {
		spec := c.At(c.Draws(1, i))
		ended := make(chan error, 1)
		go func() {
			_, err := solver.Run(&spec, Options{Fast: true})
			ended <- err
		}()
		select {
		case err := <-ended:
			if err != nil {
				t.Errorf("draw %d: %v", i, err)
			}
		case <-time.After(5 * time.Second):
			t.Fatalf("draw %d (%v) does not end", i, c.Draws(1, i))
		}
	}
}

func BenchmarkSample(b *testing.B) {
	src := strings.NewReplacer("contact: 400", "contact: 400 ± 80", "40 mm", "30 mm ± 1 mm", "{core_rise: +10 °F}", "{every: 1 min}").Replace(chopFile)
	c := mustCook(b, src)
	b.ReportAllocs()
	for range b.N {
		if _, err := c.Sample(context.Background(), Sampling{N: 100, Seed: 1, Options: Options{Fast: true}}); err != nil {
			b.Fatal(err)
		}
	}
}
