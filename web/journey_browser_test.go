package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"

	"trivet/answer"
	"trivet/bench"
	"trivet/study"
)

// writes clicks into a field and writes over what stands there: short texts
// key by key, long ones as they come out of the clipboard.
func (p *person) writes(css, text string) {
	p.Helper()
	p.click(css)
	p.do(chromedp.Evaluate[chromedp.Void](`document.querySelector(` + quoted(css) + `).select()`))
	switch {
	case text == "":
		p.do(chromedp.KeyEvent("\b"))
	case len(text) < 40:
		p.do(chromedp.KeyEvent(text))
	default:
		p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
			_, err := cdp.Call(ctx, t, input.InsertText, input.InsertTextParams{Text: text})
			return err
		}))
	}
}

// picks takes an option of a list by its value, with the keyboard's event.
func (p *person) picks(css, value string) {
	p.Helper()
	p.do(chromedp.SetValue(chromedp.CSS(css), value))
	p.waits(`document.querySelector(` + quoted(css) + `).value === ` + quoted(value))
}

// unfolds opens a fold by a click on its summary, unless it is open.
func (p *person) unfolds(css string) {
	p.Helper()
	p.waits(`document.querySelector(` + quoted(css) + `) !== null`)
	if p.list(`[String(document.querySelector(` + quoted(css) + `).open)]`)[0] == "false" {
		p.click(css + " > summary")
	}
}

// settled waits until the page that a click led to is whole.
func (p *person) settled(more ...string) {
	p.Helper()
	p.waitsLong(strings.Join(append(more, `document.readyState === "complete"`, `!document.querySelector("[data-have], .saving")`), " && "))
}

// follows clicks what leads to another page, and waits for it.
func (p *person) follows(css string) {
	p.Helper()
	p.do(chromedp.Evaluate[chromedp.Void](`window.before = true`))
	p.click(css)
	p.settled(`!window.before`)
}

// changes fills a form of the study's page and saves it; the page stays, its
// parts are renewed.
func (p *person) changes(form string, fields ...string) {
	p.Helper()
	fold := "#edit-" + form
	p.unfolds(fold)
	for i := 0; i < len(fields); i += 2 {
		css := fold + ` [name="set:` + fields[i] + `"]`
		if p.list(`[document.querySelector(` + quoted(css) + `).tagName]`)[0] == "SELECT" {
			p.picks(css, fields[i+1])
		} else {
			p.writes(css, fields[i+1])
		}
	}
	p.click(fold + " form button")
	p.settled(`!document.querySelector(` + quoted(fold) + `)?.open`)
}

// between is the text from one line on to before another.
func between(t *testing.T, text, from, to string) string {
	t.Helper()
	_, rest, ok := strings.Cut("\n"+text, "\n"+from)
	if !ok {
		t.Fatalf("no line begins with %q", from)
	}
	if to != "" {
		if rest, _, ok = strings.Cut(rest, "\n"+to); !ok {
			t.Fatalf("no line begins with %q after %q", to, from)
		}
	}
	return from + rest
}

// A person takes the invented demo study from an empty notebook to its
// verdicts by clicks, typing and the file picker: title, claim, questions with
// their margins, treatments with their cook files, plan, run order, seal,
// logs, a void cook and its spare, marks, weighings, a deviation, the counts
// of the tasting. The answer must be, to the last digit, that of the notebook
// that "trivet demo" makes (but for the days, see demoByUseCases).
//
// What has no form is pasted into the document's text: the pieces, the rules
// for voiding, who wrote it, and the demo's own run order in the place of the
// one that the page drew, since the demo's logs were invented for that order.
// The forms of the cooks' pages are filled by hand for two cooks, and for the
// rest by a script in the page that sends the very same forms.
func TestTheDemoByClicksFromAnEmptyNotebookToItsVerdicts(t *testing.T) {
	demo := madeDemo(t)
	chromium := browser(t)
	d := openDesk(t)
	needsScripts(t, d)
	plan := string(demo.Plan)
	logs := t.TempDir()
	for _, c := range demo.Cooks {
		if err := os.WriteFile(filepath.Join(logs, c.LogName), c.Log, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	var offline atomic.Bool
	p := newPerson(t, chromium, "journey", d.http.URL, 1280, 900, false, &offline)

	// The question.
	p.open("/")
	p.sees("Nothing here yet")
	p.writes("#title", "Sear first or sear last")
	p.follows(`form[action="/studies"] button`)
	p.sees("No claim is written yet")
	wrote, err := study.Parse("study.yaml", demo.Plan)
	if err != nil {
		t.Fatal(err)
	}
	p.changes("claim", "claim.says", wrote.Claim.Says, "claim.scope", wrote.Claim.Scope, "claim.fair", wrote.Claim.Fair, "claim.against", wrote.Claim.Against)
	p.sees(wrote.Claim.Says)

	// The treatments and their cook files.
	for _, x := range wrote.Treatments {
		p.unfolds("#treatments > details.edit")
		p.writes("#nt-name", x.Name)
		p.follows(`form[action$="/treatments"] button`)
		p.follows(`a[href$="/treatments/` + x.ID + `"]`)
		p.follows(`nav.views a[href="?view=text"]`)
		p.writes("#text", string(demo.CookFiles[x.Cook]))
		p.waits(`!document.querySelector(".predicted [role=alert]")`)
		p.follows(`form[data-predict] > p:last-of-type button`)
		p.follows(`form[data-predict] a.button.second`) // back to the study
	}

	// The questions: one stands there as an example, the others are added.
	for _, q := range wrote.Questions {
		at := "questions[" + q.ID + "]."
		if q.ID != "loss" {
			p.unfolds("#questions > details.edit")
			p.writes("#nq-ask", q.Ask)
			p.writes("#nq-name", q.ID)
			if q.Tasting != nil {
				p.click(`#questions input[name=kind][value=tasting]`)
				p.picks("#nq-method", q.Tasting.Method)
			} else {
				p.picks("#nq-response", q.Response)
				p.picks("#nq-claim", string(q.Claim))
				p.writes("#nq-margin", q.Margin.Text)
			}
			p.follows(`form[action$="/questions"] button`)
		}
		if q.Tasting == nil {
			p.changes("q-"+q.ID, at+"ask", q.Ask, at+"compare.treatment", q.Compare.Treatment, at+"compare.against", q.Compare.Against, at+"margin", q.Margin.Text)
		}
	}
	p.sees("teaspoon") // what two points of loss are in the kitchen

	// The plan.
	p.changes("plan", "blocks.what", "pork loin", "blocks.count", "20", "blocks.pieces", "2", "blocks.spares", "1")
	p.changes("controlled", "controlled.thickness", "30 mm ± 1.5 mm", "controlled.start", "5 °C ± 1.5 °C", "controlled.pan", "205 °C ± 5 °C")
	p.changes("foods", "foods.animal", "pork", "foods.form", "intact", "foods.eaten", "yes")
	p.shot("planned")
	p.follows(`#history a[href$="/text"]`)
	p.writes("#text", withoutForms(t, p.list(`[document.querySelector("#text").value]`)[0], plan, ""))
	p.follows(`main form button`)
	p.follows(`form[action$="/order"] button`)
	p.sees("The order of all 40 cooks")
	p.follows(`#history a[href$="/text"]`)
	p.writes("#text", withoutForms(t, p.list(`[document.querySelector("#text").value]`)[0], plan, "design:"))
	p.follows(`main form button`)
	p.click(`form[action$="/seal"] input[name=sure]`)
	if len(p.list(`[...document.querySelectorAll("form[action$='/seal'] input[name=open]")].map((e) => e.name)`)) > 0 {
		p.click(`form[action$="/seal"] input[name=open]`)
	}
	p.follows(`form[action$="/seal"] button`)
	p.sees("Sealed on", "Nothing that was sealed has changed")

	// The logs, all at once; a spare waits until the cook it stands in for is void.
	var void, spare bench.DemoCook
	var files []string
	for _, c := range demo.Cooks {
		files = append(files, filepath.Join(logs, c.LogName))
		switch c.Cook.Role {
		case study.Void:
			void = c
		case study.Spare:
			spare = c
		}
	}
	p.follows(`#cooks a[href$="/load"]`)
	p.do(chromedp.SetUploadFiles(chromedp.CSS("#logs"), files))
	p.waitsLong(`document.querySelectorAll("section.log").length === 41`)
	p.writes("#heat-all", "soon after")
	p.follows(`form[action$="/load/all"] button`)
	p.sees("soon after")
	p.waits(`document.querySelector("form[action$='/load/all'] [role=alert]") && document.querySelector("#heat-all").value === "soon after"`)
	p.writes("#heat-all", "0:45")
	p.click(`form[action$="/load/all"] button`)
	p.waitsLong(`document.querySelectorAll("section.log").length === 1 && document.querySelectorAll(".done p").length >= 40`)
	p.shot("loaded")
	only := "section.log "
	p.writes(only+"[name=cook]", spare.Cook.Label)
	p.writes(only+"[name=heat_on]", "0:45")
	p.follows(only + `p.acts button`)
	p.sees(spare.Cook.Label+" is a spare", "Make the cook void that it replaces")
	p.shot("spare-waits")
	p.open("/studies/" + demoID + "/cooks/" + void.Cook.Label)
	p.unfolds("#void details")
	p.picks("#v-rule", void.Cook.VoidRule)
	p.writes("#v-why", void.Cook.VoidWhy)
	p.follows("#void button")
	p.sees(void.Cook.VoidWhy)
	p.open("/studies/" + demoID + "/load")
	p.settled()
	p.writes(only+"[name=heat_on]", "0:45")
	p.follows(only + `p.acts button`)
	p.sees("Loaded into cook " + spare.Cook.Label)

	// What was noted at the stove.
	var notes []stoveNote
	for i, c := range demo.Cooks {
		mine := stoveNotes(c)
		if i >= 2 {
			notes = append(notes, mine...)
			continue
		}
		p.open("/studies/" + demoID + "/cooks/" + c.Cook.Label)
		for _, n := range mine {
			p.waits(`document.querySelector("[data-plot]")?.dataset.ready === "yes"`)
			section := "#" + n.Form + " > details.edit"
			p.unfolds(section)
			for _, f := range n.Fields {
				css := section + ` [name="` + f[0] + `"]`
				if p.list(`[document.querySelector(` + quoted(css) + `).tagName]`)[0] == "SELECT" {
					p.picks(css, f[1])
				} else {
					p.writes(css, f[1])
				}
			}
			p.follows(section + " form p button")
		}
	}
	p.shot("noted")
	refused, err := chromedp.Run(p.ctx, chromedp.Evaluate[[]byte](`(async () => {
		const refused = [];
		for (const n of `+jsonOf(notes)+`) {
			const form = document.querySelector("#" + n.Form + " > details.edit form"), body = new URLSearchParams();
			for (const [name, value] of new FormData(form)) body.set(name, value);
			for (const [name, value] of n.Fields) body.set(name, value);
			const to = form.action.replace(/\/cooks\/[^/]+/, "/cooks/" + n.Cook);
			const answer = await fetch(to, {method: "POST", body, headers: {Accept: "application/json"}});
			if (!answer.ok) refused.push(n.Cook + ": " + await answer.text());
		}
		return refused;
	})()`, chromedp.EvalAwaitPromise))
	if err != nil || string(refused) != "[]" {
		t.Fatalf("%v: refused: %s", err, refused)
	}

	// The tasting was done on paper: its counts are written into the document.
	p.open("/studies/" + demoID + "/text")
	p.writes("#text", p.list(`[document.querySelector("#text").value]`)[0]+between(t, string(demo.Tasted), "tastings:", ""))
	p.follows(`main form button`)

	// The findings.
	p.waitsLong(`!document.querySelector("[data-have]") && document.querySelectorAll(".finding").length === 5`)
	p.sees("20 of 20 blocks cooked")
	p.shot("findings")
	p.violations(axe(t))

	mine, theirs := answerOf(t, d), answerOf(t, demoByUseCases(t, demo))
	if a, b := jsonOf(mine), jsonOf(theirs); a != b {
		i := 0
		for i < min(len(a), len(b)) && a[i] == b[i] {
			i++
		}
		t.Errorf("the pages answer otherwise than the commands, from:\n%.400s\n%.400s", a[max(0, i-100):], b[max(0, i-100):])
	}
	settled := 0
	for _, f := range mine.Findings {
		if f.Verdict != nil && f.Verdict.Settled() {
			settled++
		}
		shown := p.list(`[document.querySelector("#finding-` + f.Question + ` .verdict").textContent]`)[0]
		if shown != sentenceOf(f.Printed) {
			t.Errorf("%s: the page prints %q, the answer is %q", f.Question, shown, f.Printed)
		}
	}
	if settled == 0 {
		t.Error("no question of the demo is settled")
	}
}

// withoutForms writes into a study's text what the study page has no form
// for. Where from is given, everything from that line on is the demo's.
func withoutForms(t *testing.T, text, plan, from string) string {
	t.Helper()
	swap := func(begins, ends, with string) {
		t.Helper()
		text = strings.Replace(text, between(t, text, begins, ends), with, 1)
	}
	if from != "" {
		swap(from, "", between(t, plan, from, ""))
		return text
	}
	swap("treatments:", "# A block is", between(t, plan, "treatments:", "blocks:"))
	swap("void:", "# Values that", between(t, plan, "void:", "risk:"))
	swap("foods:", "licence:", between(t, plan, "foods:", "design:"))
	swap("licence:", "# Below come", "invented: yes\nlicence: CC0-1.0\nauthors: [the trivet demo]\n")
	return text
}

// stoveNote is one form of a cook's page, filled.
type stoveNote struct {
	Cook, Form string
	Fields     [][2]string
}

// stoveNotes is what somebody typed in beside a cook of the demo.
func stoveNotes(c bench.DemoCook) []stoveNote {
	var out []stoveNote
	add := func(form string, fields ...[2]string) {
		out = append(out, stoveNote{c.Cook.Label, form, fields})
	}
	for _, m := range c.Cook.Marks {
		if m.Kind != study.HeatOn {
			mark := [][2]string{{"kind", string(m.Kind)}, {"at", clockOf(m.AtUS)}}
			if m.Note != "" {
				mark = append(mark, [2]string{"note", m.Note})
			}
			add("marks", mark...)
		}
	}
	for _, w := range c.Cook.Weighings {
		add("weighings", [2]string{"stage", string(w.Stage)}, [2]string{"mass", fmt.Sprintf("%g g", w.MassG)}, [2]string{"at", clockOf(w.AtUS)}, [2]string{"resolution", "0.1 g"})
	}
	for _, x := range c.Cook.Deviations {
		add("deviations", [2]string{"what", x.What}, [2]string{"why", x.Why}, [2]string{"at", clockOf(x.AtUS)})
	}
	return out
}

// demoByUseCases is the demo's notebook as "trivet demo" makes it, but for the
// day of each cook, for which the pages have no field.
func demoByUseCases(t *testing.T, demo *bench.Demo) *deskServer {
	t.Helper()
	d := openDesk(t)
	ctx := context.Background()
	keep := func(document []byte) {
		t.Helper()
		s, err := study.Parse("study.yaml", document)
		if err != nil {
			t.Fatal(err)
		}
		if err := d.nb.PutStudy(ctx, s, document, demo.CookFiles); err != nil {
			t.Fatal(err)
		}
	}
	keep(demo.Plan)
	if _, err := bench.Seal(ctx, d.nb, demoID, demo.SealedAt); err != nil {
		t.Fatal(err)
	}
	for _, c := range demo.Cooks {
		c.Cook.Day = ""
		if err := d.nb.PutCook(ctx, demoID, c.Cook); err != nil {
			t.Fatal(err)
		}
		if _, err := bench.Load(ctx, d.nb, d.record(demoID), bench.LoadRequest{Name: c.LogName, Log: bytes.NewReader(c.Log), Cook: c.Cook.Label, Now: c.At}); err != nil {
			t.Fatal(err)
		}
	}
	keep(demo.Tasted)
	return d
}

func answerOf(t *testing.T, d *deskServer) *answer.Answer {
	t.Helper()
	got, err := bench.Answer(context.Background(), d.nb, demoID, bench.AnswerOptions{Now: time.Now()})
	if err != nil {
		t.Fatal(err)
	}
	return got.Answer
}

func jsonOf(v any) string {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return string(b)
}

// waitsLong waits for what takes a while on a busy machine, across pages.
func (p *person) waitsLong(expression string) {
	p.Helper()
	for range 2400 {
		ok, err := chromedp.Run(p.ctx, chromedp.Evaluate[bool](`Boolean(document.body && (`+expression+`))`))
		if err == nil && ok {
			return
		}
		time.Sleep(25 * time.Millisecond)
	}
	p.shot("failure")
	p.Fatalf("%s: never came true: %s", p.name, expression)
}

// needsScripts skips a test of what scripts do where they are not built.
func needsScripts(t testing.TB, d *deskServer) {
	t.Helper()
	if d.desk.ui.built() {
		return
	}
	if os.Getenv("TRIVET_BROWSER") == "1" {
		t.Fatal(`TRIVET_BROWSER is set and the scripts are not built: run "make ui"`)
	}
	t.Skip(`the scripts are not built: run "make ui"`)
}
