package study

import "trivet/tasting"

// tastingMethods are the sensory tests a study may plan, by name.
func tastingMethods() []string {
	var names []string
	for _, m := range tasting.Methods() {
		names = append(names, m.Describe().Name)
	}
	return names
}

// methodName returns a method's own name for a name as written.
func methodName(written string) (string, bool) {
	m, err := tasting.Lookup(written)
	if err != nil {
		return "", false
	}
	return m.Describe().Name, true
}
