package web

import (
	"strings"
	"testing"
)

// The desk in Firefox at the size of a phone and of a desktop: the same checks
// as in the other browser.
func TestTheDeskInFirefox(t *testing.T) {
	checker := axe(t)
	d := openDemo(t, 3)
	const at = "/studies/sear-first-or-sear-last"
	label := d.record("sear-first-or-sear-last").Cooks[0].Label
	f := openFirefox(t, "firefox", d.http.URL, 390, 844)
	for _, page := range []string{"/", at, at + "/cooks/" + label, at + "/treatments/sear-first", at + "/load"} {
		f.open(page)
		if strings.Contains(page, "/cooks/") && d.desk.ui.built() {
			f.waits(`document.querySelector("[data-plot]")?.dataset.ready === "yes"`)
		}
		f.eval(`(() => { for (const d of document.querySelectorAll("details")) d.open = true; })()`, nil)
		f.check(checker)
		f.shot(strings.ReplaceAll(page, "/", "_"))
	}
}
