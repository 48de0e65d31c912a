package stats

import "testing"

// R 4.2.2 on the two-level effects of npk.
func TestLenth(t *testing.T) {
	r := references(t, "npk_lenth")
	var effects []float64
	for _, e := range []string{"N", "P", "K", "N:P", "N:K", "P:K", "N:P:K"} {
		effects = append(effects, r.value("two_level_effects", "", e))
	}
	l, err := Lenth(effects)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "PSE", l.PSE, r.value("lenth", "", "pse"), 1e-9)
	near(t, "df", l.DF, r.value("lenth", "", "df"), 1e-9)
	near(t, "margin of error", l.MarginOfError(0.95), r.value("lenth", "", "me95"), 1e-8)
	if _, err := Lenth(effects[:2]); err == nil {
		t.Error("two effects were screened")
	}
	if _, err := Lenth([]float64{0, 0, 0, 0, 3}); err == nil {
		t.Error("effects of zero were screened")
	}
}
