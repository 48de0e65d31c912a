// Package trivet_test holds checks of the whole house: which package may
// import which.
package trivet_test

import (
	"encoding/json"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// mayImport is the dependency rule. Every package may import fault, quantity
// and cells; what else it may import stands here, and nothing else.
var mayImport = map[string][]string{
	"fault":     {},
	"cells":     {},
	"quantity":  {},
	"stats":     {},
	"trace":     {},
	"steam":     {},
	"doneness":  {},
	"safety":    {"trace"},
	"heat":      {"trace", "steam", "doneness"},
	"design":    {"stats"},
	"tasting":   {"stats", "design"},
	"logfile":   {"trace"},
	"photo":     {},
	"study":     {"design", "tasting", "heat"},
	"measure":   {"trace", "steam", "heat", "doneness", "safety", "stats", "study"},
	"calibrate": {"stats", "trace", "heat", "doneness", "measure", "study"},
	"forecast":  plus(calibrateSet, "calibrate"),
	"explain":   plus(calibrateSet, "calibrate", "design", "safety"),
	"answer":    {"stats", "design", "tasting", "study", "measure", "safety"},
	"bench":     domain,
	"figure":    domain,
	"bundle":    plus(domain, "bench"),
	"store":     plus(domain, "bench", "bundle"),
	"publish":   plus(domain, "figure", "bundle", "bench"),
	"live":      {"trace", "logfile", "forecast", "study", "bench"},
	"web":       plus(domain, "bench", "live", "publish", "figure"),
	"cli": plus(domain, "bench", "figure", "bundle", "store", "publish",
		"live", "web"),
	"cmd/trivet": {"cli"},
}

var calibrateSet = []string{"stats", "trace", "heat", "doneness", "measure", "study"}

var domain = []string{
	"stats", "trace", "steam", "doneness", "safety", "heat", "design",
	"tasting", "logfile", "study", "measure", "calibrate", "forecast",
	"explain", "answer", "photo",
}

func plus(base []string, more ...string) []string { return append(slices.Clone(base), more...) }

func TestImportsFollowTheTable(t *testing.T) {
	out, err := exec.Command("go", "list", "-json=ImportPath,Imports", "./...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	dec := json.NewDecoder(strings.NewReader(string(out)))
	seen := 0
	for dec.More() {
		var p struct {
			ImportPath string
			Imports    []string
		}
		if err := dec.Decode(&p); err != nil {
			t.Fatal(err)
		}
		name := strings.TrimPrefix(p.ImportPath, "trivet/")
		if name == "trivet" {
			continue
		}
		seen++
		allowed, known := mayImport[name]
		if !known {
			t.Errorf("package %s is not in the table of house_test.go: decide what it may import", name)
			continue
		}
		for _, imp := range p.Imports {
			dep, ours := strings.CutPrefix(imp, "trivet/")
			if !ours || dep == "fault" || dep == "quantity" || dep == "cells" {
				continue
			}
			if !slices.Contains(allowed, dep) {
				t.Errorf("%s imports %s, which its row of the table does not allow", name, dep)
			}
		}
	}
	if seen < 5 {
		t.Errorf("saw only %d packages: go list did not read the house", seen)
	}
}
