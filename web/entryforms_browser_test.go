package web

import (
	"net/url"
	"sync/atomic"
	"testing"

	"github.com/chromedp/chromedp"
)

// A rule is added, refused, removed and put back on one page that is never
// left but for the putting back.
func TestARuleInABrowser(t *testing.T) {
	chromium := browser(t)
	d := openDesk(t)
	needsScripts(t, d)
	d.post("/studies", url.Values{"title": {"Salt"}})
	var refused atomic.Bool
	refused.Store(true) // a refused form is logged by its status
	p := newPerson(t, chromium, "rules", d.http.URL, 390, 844, false, &refused)
	p.do(chromedp.Navigate(p.base + "/studies/salt"))
	p.settled()
	p.do(chromedp.Evaluate[chromedp.Void](`window.stayed = true`))
	p.unfolds("#edit-new-rule")
	p.click("#edit-new-rule form button")
	p.waits(`document.querySelector("#edit-new-rule [role=alert]") && document.querySelector("#edit-new-rule").open`)
	p.writes("#edit-new-rule textarea", "the probe slipped")
	p.click("#edit-new-rule form button")
	p.waits(`document.querySelector("#rule-the-probe-slipped") && !document.querySelector("#edit-new-rule").open`)
	p.shot("rule")
	const out = "#edit-remove-void-the-probe-slipped"
	p.unfolds(out)
	p.click(out + " input[name=sure]")
	p.click(out + " form button")
	p.waits(`!document.querySelector("#rule-the-probe-slipped") && document.activeElement.matches("[data-takeback]") && window.stayed`)
	p.violations(axe(t))
	p.follows("[data-takeback]")
	p.sees("The probe slipped.")
}
