package study

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
)

func (c *checker) treatments(cookFiles map[string][]byte) {
	s := c.study
	if len(s.Treatments) < 2 {
		c.add(Missing, "few-treatments", "treatments", 0, "a comparison needs two treatments, and there are %d; add them with an id each", len(s.Treatments))
	}
	var controls []string
	for _, t := range s.Treatments {
		if t.Control {
			controls = append(controls, t.ID)
		}
	}
	switch {
	case len(controls) == 0 && len(s.Treatments) > 0:
		c.add(Missing, "no-control", "treatments", 0, "no treatment is the control; mark what the others are compared with by control: yes")
	case len(controls) > 1:
		c.add(Doubt, "two-controls", "treatments", 0, "%s are all marked as control; keep one", strings.Join(controls, " and "))
	}
	settings := map[string]tree{}
	for _, t := range s.Treatments {
		if t.Cook == "" && len(t.Set) == 0 {
			severity := Missing
			if t.Name != "" {
				severity = Doubt
			}
			c.add(severity, "no-treatment-content", "treatments["+t.ID+"]", 0, "nothing says what treatment %s is; name its cook file (cook: cooks/%s.yaml) or its settings (set: {oven: 175 °C})", t.ID, t.ID)
			continue
		}
		all := tree{}
		for k, v := range t.Set {
			all[k] = canonicalSetting(v)
		}
		if t.Cook != "" && cookFiles != nil {
			parsed, err := canonicalCook(t.Cook, cookFiles)
			if err != nil {
				for _, e := range members(err) {
					bare := *e
					bare.Fix = ""
					c.out = append(c.out, Finding{Severity: Wrong, Code: e.Code, Where: "treatments[" + t.ID + "].cook", What: bare.Error(), Fix: e.Fix})
				}
				continue
			}
			all["cook"] = parsed
		}
		settings[t.ID] = all
	}
	c.twoThings(settings)
}

// twoThings tells when a comparison changes more than one setting at once.
// Settings that stand in both treatments count one by one; a setting that is
// only in one of them counts as one, however much hangs below it.
func (c *checker) twoThings(settings map[string]tree) {
	told := map[Contrast]bool{}
	for _, q := range c.study.Questions {
		a, okA := settings[q.Compare.Against]
		b, okB := settings[q.Compare.Treatment]
		if !okA || !okB || told[q.Compare] {
			continue
		}
		told[q.Compare] = true
		var differ []string
		differences("", a, b, &differ)
		at := "treatments[" + q.Compare.Treatment + "]"
		switch n := len(differ); {
		case n == 0:
			c.add(Wrong, "same-treatments", at, 0, "treatments %s and %s are the same in every setting; change what the claim is about", q.Compare.Treatment, q.Compare.Against)
		case n > 1:
			c.add(Doubt, "two-things", at, 0, "%s and %s differ in %d settings (%s), so the study tests them together; make them equal but for what the claim is about, or say so in the claim",
				q.Compare.Treatment, q.Compare.Against, n, clipNames(differ, 4))
		}
	}
}

func clipNames(names []string, most int) string {
	if len(names) <= most {
		return strings.Join(names, ", ")
	}
	return strings.Join(names[:most], ", ") + fmt.Sprintf(" and %d more", len(names)-most)
}

// differences names the settings in which two treatments differ. Legs in
// another order are one difference.
func differences(name string, a, b any, out *[]string) {
	if same(a, b) {
		return
	}
	ta, aIsTree := a.(tree)
	tb, bIsTree := b.(tree)
	if aIsTree && bIsTree && !isAmount(ta) && !isAmount(tb) {
		keys := maps.Clone(ta)
		maps.Copy(keys, tb)
		for _, k := range slices.Sorted(maps.Keys(keys)) {
			differences(strings.TrimSpace(strings.TrimPrefix(name, "cook")+" "+keyInWords(k)), ta[k], tb[k], out)
		}
		return
	}
	la, aIsList := a.([]any)
	lb, bIsList := b.([]any)
	if order := sameNames(la, lb); aIsList && bIsList && order != nil && !sameMembers(la, lb) {
		*out = append(*out, "order of "+strings.TrimSpace(name))
		for i, j := range order {
			differences(fmt.Sprintf("%s %s", strings.TrimSuffix(name, "s"), nameOf(la[i])), la[i], lb[j], out)
		}
		return
	}
	if aIsList && bIsList && len(la) == len(lb) && len(la) > 0 && isTree(la[0]) && !sameMembers(la, lb) {
		for i := range la {
			differences(fmt.Sprintf("%s %d", strings.TrimSuffix(name, "s"), i+1), la[i], lb[i], out)
		}
		return
	}
	if aIsList && bIsList && sameMembers(la, lb) {
		name = "order of " + name
	}
	*out = append(*out, strings.TrimSpace(name))
}

// sameNames tells for each entry of a where the entry of its name stands in
// b; nil unless both lists hold the same names, once each, in another order.
func sameNames(a, b []any) []int {
	if len(a) != len(b) || len(a) == 0 {
		return nil
	}
	at := map[string]int{}
	for j, x := range b {
		n := nameOf(x)
		if _, twice := at[n]; n == "" || twice {
			return nil
		}
		at[n] = j
	}
	order, moved := make([]int, len(a)), false
	seen := map[int]bool{}
	for i, x := range a {
		j, ok := at[nameOf(x)]
		if !ok || seen[j] {
			return nil
		}
		seen[j] = true
		order[i] = j
		moved = moved || i != j
	}
	if !moved {
		return nil
	}
	return order
}

// nameOf is the name of a leg, "" when it has none.
func nameOf(x any) string {
	t, ok := x.(tree)
	if !ok {
		return ""
	}
	n, _ := t["name"].(string)
	return n
}

// sameMembers tells whether two lists hold the same entries in any order.
func sameMembers(a, b []any) bool {
	text := func(list []any) []string {
		out := make([]string, len(list))
		for i, x := range list {
			t, err := json.Marshal(x)
			if err != nil {
				return nil
			}
			out[i] = string(t)
		}
		slices.Sort(out)
		return out
	}
	return slices.Equal(text(a), text(b))
}
