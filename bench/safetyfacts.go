package bench

import (
	"fmt"
	"math"

	"trivet/answer"
	"trivet/safety"
	"trivet/study"
)

// SafetyFacts gathers the plain facts that cautions are triggered by from a
// record and its measured cooks.
//
// The coldest logged peak is compared with the consumer figure less its
// expanded uncertainty (k = 2). The coldest point counts as known only when
// every cook has a core whose sensor was checked; otherwise the figure can be
// told not to be reached, never reached.
func SafetyFacts(rec *Record, results []answer.CookResult) safety.Facts {
	s := rec.Study
	f := safety.Facts{Animal: s.Foods.Animal, Form: s.Foods.Form, Eaten: s.Foods.Eaten, Judged: safety.CannotTell}
	f.Allergens = s.Foods.Allergens
	if s.Foods.Fat != "none" {
		f.Fat, f.HotFat = s.Foods.Fat, s.Foods.Fat != ""
	}
	for _, q := range s.Questions {
		if q.Tasting != nil {
			f.Tasting, f.Eaten = true, true
		}
	}
	twins := false
	for _, p := range s.Pieces {
		twins = twins || p.Twin != ""
	}
	f.Probed = f.Eaten && !twins
	f.Held = f.Tasting

	minimum, ok := safety.ConsumerMinimum(f.Animal, f.Form)
	if !ok || len(results) == 0 {
		return f
	}
	coldest, u, known := math.Inf(1), 0.0, true
	for _, r := range results {
		if r.Cook.Role == study.Pilot || r.Cook.Role == study.Void {
			continue
		}
		peak, ok := r.Result.Get("core_peak")
		if !ok {
			known = false
			continue
		}
		if peak.Value < coldest {
			coldest, u = peak.Value, 2*peak.StdU
		}
		known = known && peak.SensorChecked
	}
	if math.IsInf(coldest, 1) {
		return f
	}
	f.Judged = safety.Judge(minimum, coldest, u, known)
	f.ServedC = fmt.Sprintf("%.1f ± %.1f °C", coldest, u)
	return f
}
