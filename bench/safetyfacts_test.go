package bench

import (
	"testing"

	"trivet/study"
)

func TestSafetyFactsOfFat(t *testing.T) {
	for fat, hot := range map[string]bool{"": false, "none": false, "butter": true} {
		f := SafetyFacts(&Record{Study: &study.Study{Foods: study.Foods{Animal: "pork", Fat: fat}}}, nil)
		if f.HotFat != hot || hot && f.Fat != fat || !hot && f.Fat != "" {
			t.Errorf("fat %q: hot fat %v of %q", fat, f.HotFat, f.Fat)
		}
	}
}
