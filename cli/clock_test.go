package cli_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// The scripts of testdata/clock run on logs of one cook by several devices,
// computed here: a core and a pan sensor at 1 Hz; a second pan sensor every
// 2 s whose clock is 37.4 s behind and loses 150 µs a second; a third that
// counts from its own start, 25 s after the first.
func TestClockScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/clock",
		RequireExplicitExec: true,
		Setup: func(env *testscript.Env) error {
			env.Setenv("HOME", env.WorkDir)
			return writeClockLogs(filepath.Join(env.WorkDir, "logs"))
		},
	})
}

func writeClockLogs(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	r := rand.New(rand.NewPCG(7, 8))
	start := time.Date(2026, 5, 1, 18, 0, 0, 0, time.UTC)
	turns := []float64{60, 260, 430, 690, 860, 1100}
	pan := func(s float64) float64 {
		v := 205.0
		for i, at := range turns {
			if d := s - at; d > 0 {
				v -= float64(12+i) * (1 - math.Exp(-d/4)) * math.Exp(-d/40)
			}
		}
		return v
	}
	core := func(s float64) float64 {
		rise := max(0, s-60)
		return 5 + 65*(1-math.Exp(-rise*rise/4e5))
	}
	stamp := func(s float64) string {
		return start.Add(time.Duration(s * float64(time.Second))).Format("2006-01-02T15:04:05.000Z07:00")
	}
	var first, behind, elapsed strings.Builder
	first.WriteString("time,core °C,pan °C\n")
	behind.WriteString("time,pan °C\n")
	elapsed.WriteString("seconds,pan °C\n")
	for s := 0.0; s < 1500; s++ {
		fmt.Fprintf(&first, "%s,%.1f,%.1f\n", stamp(s+0.013), core(s+0.013), pan(s+0.013)+0.2*r.NormFloat64())
	}
	for s := 5.4; s < 1500; s += 2 {
		fmt.Fprintf(&behind, "%s,%.1f\n", stamp(s*(1-150e-6)-37.4), 1+0.98*pan(s)+0.2*r.NormFloat64())
	}
	for s := 0.0; s < 1400; s += 1.5 {
		fmt.Fprintf(&elapsed, "%.2f,%.1f\n", s+0.01, pan(s+25.01)+0.2*r.NormFloat64())
	}
	for name, text := range map[string]string{"core.csv": first.String(), "behind.csv": behind.String(), "elapsed.csv": elapsed.String()} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			return err
		}
	}
	return nil
}
