package web

import (
	"net/url"
	"sync/atomic"
	"testing"

	"github.com/chromedp/chromedp"
)

// Readings, instruments and lots by clicks, on a phone: what is wrong is told
// while it is typed, and what was saved is taken back.
func TestListsInABrowser(t *testing.T) {
	chromium := browser(t)
	d := openDesk(t)
	needsScripts(t, d)
	d.post("/studies", url.Values{"title": {"Salt"}})
	var refused atomic.Bool
	refused.Store(true) // a refused form is logged by its status
	p := newPerson(t, chromium, "lists", d.http.URL, 390, 844, false, &refused)
	checker := axe(t)
	whole := func(name string) {
		t.Helper()
		p.violations(checker)
		for _, f := range p.list(checks) {
			t.Errorf("%s: %s", name, f)
		}
		p.shot(name)
	}
	named := func(path string) string { return `[name="set:` + path + `"]` }

	p.do(chromedp.Navigate(p.base + "/studies/salt"))
	p.settled()
	p.do(chromedp.Evaluate[chromedp.Void](`window.stayed = true`))
	const reading = "#edit-new-reading"
	p.unfolds(reading)
	p.writes(reading+" "+named("readings[new].what"), "browning of the crust")
	p.waits(`document.querySelector("` + reading + ` [data-wrong]")?.textContent.includes("A number needs its unit")`)
	p.waits(`document.querySelector('` + reading + " " + named("readings[new].unit") + `').ariaInvalid === "true"`)
	p.writes(reading+" "+named("readings[new].id"), "crust")
	p.click(reading + " form button")
	p.waits(`document.querySelector("` + reading + ` [role=alert]") && document.querySelector('` + reading + " " + named("readings[new].what") + `').value === "browning of the crust"`)
	whole("reading-refused")
	p.picks(reading+" "+named("readings[new].kind"), "grade")
	p.writes(reading+" "+named("readings[new].scale"), "pale, golden, brown")
	p.waits(`document.querySelector("` + reading + ` .trial").textContent.includes("One of pale, golden, brown, lowest first, measured.")`)
	p.picks(reading+" "+named("readings[new].judged"), "yes")
	p.click(reading + " form button")
	p.waits(`document.querySelector("#reading-crust") && !document.querySelector("` + reading + `").open`)
	p.unfolds("#edit-reading-crust")
	p.writes("#edit-reading-crust "+named("readings[crust].scale"), "pale, golden, brown, dark")
	p.click("#edit-reading-crust form button")
	p.waits(`document.querySelector("#reading-crust").textContent.includes("golden, brown, dark") && document.querySelector("[data-takeback]") && window.stayed`)
	whole("reading")
	p.follows("[data-takeback]")
	p.sees("One of pale, golden, brown, lowest first, judged.")

	// What few questions need, and a quantity of one's own held the same.
	p.unfolds("#edit-q-loss")
	p.picks("#edit-q-loss "+named("questions[loss].covariates"), "thickness")
	p.picks("#edit-q-loss "+named("questions[loss].blind"), "yes")
	p.click("#edit-q-loss form button")
	p.sees("Adjusted for its thickness. Read by somebody who does not know the treatment.")
	p.unfolds("#edit-new-control")
	p.writes("#edit-new-control "+named("controlled[new].name"), "room air")
	p.writes("#edit-new-control "+named("controlled[new].amount"), "22 °C")
	p.waits(`document.querySelector('#edit-new-control [data-wrong="controlled[new].amount"]')`)
	p.writes("#edit-new-control "+named("controlled[new].amount"), "22 °C ± 2 °C")
	p.waits(`!document.querySelector('#edit-new-control [data-wrong], #edit-new-control [aria-invalid]')`)
	p.click("#edit-new-control form button")
	p.sees("Room air is held the same at 22 °C ± 2 °C.")
	p.unfolds("#edit-clock-offset")
	p.writes("#edit-clock-offset "+named("utc_offset"), "+01:00")
	p.click("#edit-clock-offset form button")
	p.sees("are read as +01:00 from UTC")
	whole("question")

	p.follows(`a[href="/studies/salt/instruments"]`)
	const instrument = "#edit-new-instrument"
	p.unfolds(instrument)
	p.writes(instrument+" "+named("instruments[new].id"), "T-1")
	p.writes(instrument+" "+named("instruments[new].what"), "needle probe")
	p.picks(instrument+" "+named("instruments[new].class"), "T special")
	p.writes(instrument+" "+named("instruments[new].ice"), "cold")
	p.waits(`document.querySelector('` + instrument + ` [data-wrong="instruments[new].ice"]')`)
	p.writes(instrument+" "+named("instruments[new].ice"), "0.2; 0.3")
	p.waits(`document.querySelector("` + instrument + ` .trial").textContent.includes("reads 0.25 °C in ice")`)
	p.click(instrument + " form button")
	p.waits(`document.querySelector("#instrument-T-1") && !document.querySelector("` + instrument + `").open`)
	p.unfolds("#edit-instrument-T-1-checks")
	p.writes("#edit-instrument-T-1-checks "+named("instruments[T-1].checked"), "2026-03-01")
	p.click("#edit-instrument-T-1-checks form button")
	p.waits(`document.querySelector("#instrument-T-1 > p").textContent.includes("checked 2026-03-01")`)
	p.unfolds("#edit-instrument-T-1-correct")
	whole("instruments")
	const out = "#edit-remove-instruments-T-1"
	p.unfolds(out)
	p.click(out + " input[name=sure]")
	p.click(out + " form button")
	p.waits(`!document.querySelector("#instrument-T-1") && document.activeElement.matches("[data-takeback]")`)
	p.follows("[data-takeback]")
	p.sees("Needle probe; class T special")

	p.do(chromedp.Navigate(p.base + "/studies/salt/pieces"))
	p.settled()
	const lot = "#edit-new-lot"
	p.unfolds(lot)
	p.writes(lot+" "+named("lots[new].what"), "two loins of one animal")
	p.writes(lot+" "+named("lots[new].bought"), "2026-02-27")
	p.click(lot + " form button")
	p.waits(`document.querySelector("#lot-two-loins-of-one-animal")`)
	p.unfolds("#edit-lot-two-loins-of-one-animal")
	whole("lots")
}
