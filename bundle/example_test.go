package bundle_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"trivet/bench"
	"trivet/bundle"
	"trivet/study"
	"trivet/trace"
)

// A record is written as a package and read back from it.
func Example() {
	ctx := context.Background()
	dir, err := os.MkdirTemp("", "packages")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir)

	document := []byte("study: Butter or oil\nclaim: {says: Butter browns a chop faster}\ntreatments: [{id: oil, control: true}, {id: butter}]\n")
	s, err := study.Parse("study.yaml", document)
	if err != nil {
		fmt.Println(err)
		return
	}
	k := study.Cook{ID: "0196f5a0-0000-7000-8000-000000000001", Label: "L01-butter", Treatment: "butter", Role: study.Pilot}
	core := trace.Trace{Channel: trace.Channel{ID: "core", Place: trace.Core, Unit: trace.DegC}, Elapsed: true,
		Quantum: 0.1, TimesUS: []int64{0, 1_000_000}, Counts: []int64{50, 52}}
	path := filepath.Join(dir, "butter-or-oil")
	if err := bundle.Write(ctx, path, &bench.Record{Document: document, Study: s, Cooks: []study.Cook{k}},
		map[string][]trace.Trace{k.ID: {core}}, nil, bundle.Extras{}); err != nil {
		fmt.Println(err)
		return
	}
	b, err := os.ReadFile(filepath.Join(path, "samples", "L01-butter.csv"))
	fmt.Print(strings.ReplaceAll(string(b), "\r\n", "\n"))
	if err != nil {
		fmt.Println(err)
		return
	}

	p, err := bundle.Open(path, bundle.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer p.Close()
	samples, err := p.Traces(ctx, "butter-or-oil", k.ID)
	fmt.Println(len(samples), samples[0].Channel.ID, samples[0].Counts, err)
	// Output:
	// time_us,t_s,core
	// 0,,5.0
	// 1000000,,5.2
	// 1 core [50 52] <nil>
}
