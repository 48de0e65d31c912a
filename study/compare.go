package study

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"trivet/fault"
)

// Change is one sealed part that is no longer what was sealed.
type Change struct {
	Part   string `json:"part"`   // the sealed part: "questions", "risk", …
	What   string `json:"what"`   // in words: "margin of question loss"
	Before string `json:"before"` // as sealed; empty when added
	After  string `json:"after"`  // now; empty when removed
}

// String renders a change as a line: "margin of question loss: 2 points →
// 1 point".
func (c Change) String() string {
	switch {
	case c.Before == "":
		return c.What + ": added" + behind(c.After)
	case c.After == "":
		return c.What + ": removed" + behind(c.Before)
	}
	return c.What + ": " + c.Before + " → " + c.After
}

func behind(s string) string {
	if s == "" || s == whole {
		return ""
	}
	return " (" + s + ")"
}

// whole stands for a part too large to print.
const whole = "…"

// Compare lists which sealed parts differ between two seals, in words, in
// the order of a study document. Equal seals give none.
func Compare(sealed, current Seal) ([]Change, error) {
	var a, b tree
	for _, side := range []struct {
		seal Seal
		into *tree
	}{{sealed, &a}, {current, &b}} {
		if err := json.Unmarshal(side.seal.Canonical, side.into); err != nil {
			return nil, fault.New("seal-broken", "what was sealed cannot be read").Wrap(err)
		}
	}
	var out []Change
	for _, part := range sealedParts {
		diff(part, []string{part}, a[part], b[part], &out)
	}
	return out, nil
}

var sealedParts = []string{"format", "claim", "questions", "readings", "treatments", "blocks", "controlled", "void", "risk", "design"}

// diff walks two trees and lists the leaves that differ. Amounts count as
// leaves.
func diff(part string, path []string, a, b any, out *[]Change) {
	ta, aIsTree := a.(tree)
	tb, bIsTree := b.(tree)
	if aIsTree && bIsTree && !isAmount(ta) && !isAmount(tb) {
		keys := map[string]bool{}
		for k := range ta {
			keys[k] = true
		}
		for k := range tb {
			keys[k] = true
		}
		for _, k := range slices.Sorted(maps.Keys(keys)) {
			diff(part, append(slices.Clip(path), k), ta[k], tb[k], out)
		}
		return
	}
	la, aIsList := a.([]any)
	lb, bIsList := b.([]any)
	if aIsList && bIsList && len(la) == len(lb) && len(la) > 0 && isTree(la[0]) {
		for i := range la {
			diff(part, append(slices.Clip(path), strconv.Itoa(i+1)), la[i], lb[i], out)
		}
		return
	}
	before, after := show(a), show(b)
	if before == after && (before != whole || same(a, b)) {
		return
	}
	*out = append(*out, Change{Part: part, What: inWordsOf(path), Before: before, After: after})
}

func isTree(v any) bool { _, ok := v.(tree); return ok }

func same(a, b any) bool {
	x, err1 := json.Marshal(a) // map keys are sorted
	y, err2 := json.Marshal(b)
	return err1 == nil && err2 == nil && string(x) == string(y)
}

// isAmount tells a canonical amount or margin from a group of keys.
func isAmount(t tree) bool {
	_, kind := t["kind"].(string)
	_, value := t["value"].(float64)
	return kind && value
}

// show renders a canonical value for a person.
func show(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		if v == "" {
			return "nothing"
		}
		return v
	case bool:
		return map[bool]string{true: "yes", false: "no"}[v]
	case float64:
		return digits(v)
	case []any:
		parts := make([]string, len(v))
		for i, x := range v {
			if isTree(x) {
				return fmt.Sprintf("%d entries", len(v))
			}
			parts[i] = show(x)
		}
		return "[" + strings.Join(parts, ", ") + "]"
	case tree:
		if isAmount(v) {
			return showAmount(v)
		}
	}
	return whole
}

// showAmount renders a margin, a controlled quantity or a setting.
func showAmount(t tree) string {
	kind := t["kind"].(string)
	value := t["value"].(float64)
	if of, ok := t["of"].(string); ok { // a margin that is an amount
		kind = of
	}
	unit, scale := unitOf(kind)
	if u, ok := t["unit"].(string); ok {
		unit = u
	}
	if kind == "points" && value == 1 {
		unit = "point"
	}
	text := strings.TrimSpace(digits(value*scale) + " " + unit)
	if pm, ok := t["tolerance"].(float64); ok {
		text += strings.TrimRight(" ± "+digits(pm*scale)+" "+unit, " ")
	}
	return text
}

// unitOf is the unit a canonical kind is shown in, and its factor from SI.
func unitOf(kind string) (unit string, scale float64) {
	switch kind {
	case "points":
		return "points", 1
	case "ratio":
		return "%", 100
	case "percent":
		return "%", 1
	case "temperature":
		return "°C", 1
	case "difference":
		return "K", 1
	case "length":
		return "mm", 1e3
	case "mass":
		return "g", 1e3
	case "duration":
		return "s", 1
	}
	return "", 1
}

func digits(v float64) string {
	r := strconv.FormatFloat(v, 'g', 10, 64)
	if f, err := strconv.ParseFloat(r, 64); err == nil {
		return strconv.FormatFloat(f, 'f', -1, 64)
	}
	return r
}

// keyInWords turns a canonical key into words: "start_c" is "start (°C)".
func keyInWords(key string) string {
	for _, u := range [][2]string{{"_m_c", "m, °C"}, {"_m", "m"}, {"_c", "°C"}, {"_s", "s"}, {"_k", "K"}, {"_pa", "Pa"}} {
		if name, ok := strings.CutSuffix(key, u[0]); ok && name != "" {
			return strings.ReplaceAll(name, "_", " ") + " (" + u[1] + ")"
		}
	}
	return strings.ReplaceAll(key, "_", " ")
}

// inWordsOf names a sealed value.
func inWordsOf(path []string) string {
	rest := func(from int) string {
		named := make([]string, 0, len(path))
		for _, k := range path[from:] {
			named = append(named, keyInWords(k))
		}
		return strings.Join(named, " ")
	}
	entry := map[string]string{"questions": "question", "treatments": "treatment", "readings": "reading", "void": "void rule"}
	if one, ok := entry[path[0]]; ok && len(path) > 1 {
		name := one + " " + path[1]
		switch {
		case len(path) == 2:
			return name
		case path[0] == "treatments" && path[2] == "cook":
			if len(path) == 3 {
				return "cook file of " + name
			}
			return rest(3) + " in the cook file of " + name
		case path[0] == "treatments" && path[2] == "set" && len(path) > 3:
			return rest(3) + " of " + name
		}
		return rest(2) + " of " + name
	}
	switch strings.Join(path, ".") {
	case "blocks.count":
		return "number of blocks"
	case "blocks.pieces":
		return "pieces per block"
	case "blocks.spares":
		return "spares per block"
	case "design.run_order":
		return "run order"
	case "design.seed":
		return "seed"
	}
	switch {
	case path[0] == "claim":
		return "claim, " + rest(1)
	case path[0] == "controlled" && len(path) > 1:
		return "controlled " + rest(1)
	case path[0] == "design" && len(path) > 3:
		return fmt.Sprintf("%s of run %s", rest(3), path[2])
	}
	return rest(0)
}
