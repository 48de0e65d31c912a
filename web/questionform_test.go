package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// What few questions need is changed in the form of the question.
func TestWhatFewQuestionsNeedByForm(t *testing.T) {
	d, s := saltDesk(t)
	at := "questions[loss]."
	form := "q-loss"
	before := string(d.record("salt").Document)
	_, page := d.get(saltAt)
	wants(t, page, `<option value="thickness, mass, start">its thickness, its raw mass and its temperature at the start</option>`, `<option value="" selected>for nothing</option>`)
	body := d.accepts(saltAt+"/edit", edit(form, at+"covariates", "", "thickness, start", at+"judged", "no", "yes", at+"blind", "no", "yes"))
	wants(t, body, "Adjusted for its thickness and its temperature at the start. Judged by somebody who does not know the treatment.")
	if q := s().Questions[0]; strings.Join(q.Covariates, " ") != "thickness start" || !q.Judged || !q.Blind {
		t.Errorf("%+v", q)
	}
	d.refuses(saltAt+"/edit", edit(form, at+"covariates", "", "mass"), http.StatusConflict, "thickness, start", "Keep mine")
	d.refuses(saltAt+"/edit", edit(form, at+"covariates", "thickness, start", "colour"), 422, `aria-invalid="true"`, "Not a word known here")
	d.accepts(saltAt+"/edit", edit(form, at+"covariates", "thickness, start", "", at+"judged", "yes", "no", at+"blind", "yes", "no"))
	if now := string(d.record("salt").Document); strings.Contains(now, "covariates") || strings.NewReplacer("judged: no", "", "blind: no", "").Replace(now) == now {
		t.Errorf("taken out again:\n%s\nbefore\n%s", now, before)
	}

	d.accepts(saltAt+"/questions", url.Values{"ask": {"Can people tell?"}, "name": {"taste"}, "kind": {"tasting"}, "method": {"triangle"}})
	at, form = "questions[taste].tasting.", "q-taste"
	d.refuses(saltAt+"/edit", edit(form, at+"dprime", "", "1"), 422, "both as discriminators and as d′", `value="1"`)
	d.refuses(saltAt+"/edit", edit(form, at+"dprime", "", "far", at+"discriminators", "30 %", ""), 422, `value="far"`, `aria-invalid="true"`)
	body = d.accepts(saltAt+"/edit", edit(form, at+"dprime", "", "1.2", at+"discriminators", "30 %", "", at+"for", "difference", "similarity"))
	wants(t, body, "large enough to notice a distance d′ of 1.2; α = 5 %", "It is to show that they cannot.")
	if q := s().Questions[1].Tasting; q.DPrime != 1.2 || q.Discriminators != 0 || q.For != "similarity" {
		t.Errorf("%+v", q)
	}
	d.accepts(saltAt+"/edit", edit(form, at+"dprime", "1.2", "", at+"discriminators", "", "25 %"))
	if q := s().Questions[1].Tasting; q.DPrime != 0 || q.Discriminators != 0.25 {
		t.Errorf("%+v", q)
	}
	d.refuses(saltAt+"/edit", edit(form, "questions[taste].judged", "", "yes"), 422, "not one that the page edits")

	d.accepts(saltAt+"/seal", url.Values{"sure": {"yes"}, "open": {"yes"}})
	_, page = d.get(saltAt)
	wants(t, page, "makes it another question than the sealed one. Of two margins the sealed one decides", "Another method, size, risk or aim makes it another question")
	wants(t, d.accepts(saltAt+"/edit", edit("q-loss", "questions[loss].covariates", "", "mass")), "Changed since the seal")
}

func TestHoldingSomethingElseTheSame(t *testing.T) {
	d, s := saltDesk(t)
	held := func(name, amount string) url.Values {
		return entry("controlled", "new-control", "name", name, "amount", amount)
	}
	began := string(d.record("salt").Document)
	d.refuses(saltAt+"/entries", held(" ", "22 °C ± 2 °C"), 422, "This needs a name", `value="22 °C ± 2 °C"`)
	d.refuses(saltAt+"/entries", held("Room air", ""), 422, "needs an amount and a tolerance", `value="Room air"`)
	d.refuses(saltAt+"/entries", held("Room air", "22 °C"), 422, "needs its tolerance", `value="22 °C"`, `aria-invalid="true"`)
	d.refuses(saltAt+"/entries", held("thickness", "30 mm ± 2 mm"), 422, "held the same already", `value="thickness"`)
	wants(t, d.accepts(saltAt+"/entries", held("Room air", "22 °C ± 2 °C")), "Room air is held the same at 22 °C ± 2 °C.", "Take it back", "Held the same: room-air")
	if c := s().Controlled; c[len(c)-1].Name != "room-air" || c[len(c)-1].Value != 22 {
		t.Errorf("%+v", c)
	}
	d.accepts(saltAt+"/edit", edit("controlled", "controlled.room-air", "22 °C ± 2 °C", ""))
	if now := string(d.record("salt").Document); now != began {
		t.Errorf("emptied:\n%s\nwant\n%s", now, began)
	}
}

func TestTheClockOfAStudyByForm(t *testing.T) {
	d, s := saltDesk(t)
	began := string(d.record("salt").Document)
	d.refuses(saltAt+"/edit", edit("clock-offset", "utc_offset", "", "one hour east"), 422, "Not an offset from UTC", `value="one hour east"`, `aria-invalid="true"`)
	wants(t, d.accepts(saltAt+"/edit", edit("clock-offset", "utc_offset", "", "-05:00")), "are read as -05:00 from UTC", `value="-05:00"`)
	if !s().HasUTCOffset || s().UTCOffset != -300 {
		t.Errorf("%d", s().UTCOffset)
	}
	d.refuses(saltAt+"/edit", edit("clock-offset", "utc_offset", "+01:00", "+02:00"), http.StatusConflict, "-05:00", "+02:00")
	d.accepts(saltAt+"/edit", edit("clock-offset", "utc_offset", "-05:00", ""))
	if now := string(d.record("salt").Document); now != began {
		t.Errorf("emptied:\n%s\nwant\n%s", now, began)
	}
}
