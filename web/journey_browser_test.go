package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	cdpbrowser "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"

	"trivet/bench"
	"trivet/logfile"
	"trivet/study"
	"trivet/trace"
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

// commands is the program as it is built from this source.
type commands struct {
	*testing.T
	path string
}

// build builds the program, as make does.
func build(t *testing.T, dir string) (commands, error) {
	c := commands{t, filepath.Join(dir, "trivet")}
	out, err := exec.Command("go", "build", "-o", c.path, "trivet/cmd/trivet").CombinedOutput()
	if err != nil {
		err = fmt.Errorf("building trivet: %w\n%s", err, out)
	}
	return c, err
}

func (c commands) try(args ...string) ([]byte, error) {
	var out, errs bytes.Buffer
	cmd := exec.Command(c.path, args...)
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		return nil, fmt.Errorf("trivet %s: %w\n%s", strings.Join(args, " "), err, errs.String())
	}
	return out.Bytes(), nil
}

func (c commands) run(args ...string) []byte {
	c.Helper()
	out, err := c.try(args...)
	if err != nil {
		c.Fatal(err)
	}
	return out
}

// serves starts "trivet serve" on a notebook and gives its address.
func (c commands) serves(notebook string) string {
	c.Helper()
	ctx, stop := context.WithCancel(context.Background())
	cmd := exec.CommandContext(ctx, c.path, "serve", "--port", "0", "--notebook", notebook)
	cmd.Cancel = func() error { return cmd.Process.Signal(os.Interrupt) }
	said, err := cmd.StdoutPipe()
	if err == nil {
		cmd.Stderr = cmd.Stdout
		err = cmd.Start()
	}
	if err != nil {
		c.Fatal(err)
	}
	c.Cleanup(func() { stop(); cmd.Wait() })
	var all []byte
	b := make([]byte, 4096)
	for {
		n, err := said.Read(b)
		all = append(all, b[:n]...)
		if at := regexp.MustCompile(`http://127\.0\.0\.1:[0-9]+`).Find(all); at != nil {
			go io.Copy(io.Discard, said)
			return string(at)
		}
		if err != nil {
			c.Fatalf("trivet serve said no address: %v\n%s", err, all)
		}
	}
}

// A person takes the invented demo study from an empty notebook to its
// verdicts by clicks, typing and the file picker alone: every part of it goes
// through the form that the pages have for it, found by the words that stand
// there. Only the clock is set, to the days of the demo.
//
// The plan's seal must be that of the notebook which "trivet demo" makes, and
// "trivet answer" must say the same of both, to the last digit; so must the
// data package that the page of "trivet serve" hands out, which has to verify.
func TestTheDemoByClicksFromAnEmptyNotebookToItsVerdicts(t *testing.T) {
	demo := madeDemo(t)
	chromium := browserFor(t, 8*time.Minute)
	var clock atomic.Pointer[time.Time]
	begun := time.Now()
	set := func(to time.Time) { to = to.Add(-time.Since(begun)); clock.Store(&to) }
	set(demo.SealedAt.Add(-2 * time.Hour))
	d := openDeskWith(t, Options{Now: func() time.Time { return clock.Load().Add(time.Since(begun)) }})
	needsScripts(t, d)
	dir := t.TempDir()
	theirs := make(chan byCommands, 1)
	var meanwhile sync.WaitGroup
	meanwhile.Go(func() { theirs <- answeredByCommands(t, dir) })
	t.Cleanup(meanwhile.Wait)
	wrote, err := study.Parse("study.yaml", demo.Plan)
	if err != nil {
		t.Fatal(err)
	}
	if err := wrote.ReadCooks(demo.CookFiles); err != nil {
		t.Fatal(err)
	}
	var offline atomic.Bool
	p := newPerson(t, chromium, "journey", d.http.URL, 1280, 900, false, &offline)
	j := &journey{hands: p.hands(), p: p, d: d, demo: demo, wrote: wrote, dir: dir, chromium: chromium}

	for _, step := range []struct {
		name string
		do   func()
	}{
		{"question", j.question}, {"treatments", j.treatments}, {"questions", j.questions}, {"plan", j.plan}, {"kitchen", j.kitchen}, {"pieces", j.pieces},
		{"order and seal", j.orderAndSeal}, {"logs", func() { set(demo.Cooks[len(demo.Cooks)-1].At.Add(24 * time.Hour)); j.logs() }}, {"void and spare", j.voidAndSpare},
		{"notes", j.notes}, {"tasting", j.tasting}, {"findings", j.findings}, {"the same", func() { j.sameAs(<-theirs) }},
	} {
		begin := time.Now()
		step.do()
		t.Logf("%s: %.1f s", step.name, time.Since(begin).Seconds())
	}
}

// journey is the way of one person through the demo.
type journey struct {
	hands
	p     *person
	d     *deskServer
	demo  *bench.Demo
	wrote *study.Study
	dir   string
	// chromium has a context of its own for everybody.
	chromium context.Context
}

// question begins the study: title, claim, whose data they are.
func (j *journey) question() {
	c := j.wrote.Claim
	j.p.open("/")
	j.p.sees("Nothing here yet")
	j.types("A new study: what is it about?", j.wrote.Title).presses("Begin a study")
	j.p.sees("No claim is written yet")
	j.in("#claim").unfolds("Write the claim").types("The claim", c.Says, "What it is about", c.Scope, "Why this contrast is a fair test", c.Fair, "What would count against it", c.Against).saves("Save")
	j.p.sees(c.Says)
	j.in("#publish").unfolds("Change licence and authors").types("Are the data invented?", "yes", "Licence of the data", j.wrote.Licence, "Authors", strings.Join(j.wrote.Authors, "; ")).saves("Save")
	j.p.waits(`document.body.innerText.includes("Invented data")`)
}

// treatments are named, and how each is cooked is put together leg by leg.
func (j *journey) treatments() {
	for _, x := range j.wrote.Treatments {
		j.in("#treatments").unfolds("Add a treatment").types("Its name", x.Name, "Is it what the others are compared with?", yesNo(x.Control)).presses("Add a treatment")
		j.in("#treatments").presses("Write a cook file for " + x.Name)
		leg := func(name string) hands { return j.in(name) }
		change := func(at, what, to string) { leg(at).picks(what, to).presses("Change") }
		change("Leg 1: pan", "Change this leg", "ends after a time")
		change("Leg 1: pan", "Change this leg", "no longer ends by the core")
		leg("Leg 1: pan").types("name", "sear", "turn, at", "90 s", "ends when, time", "3 min")
		j.in("Another leg").picks("What happens in it", "in an oven").presses("Add the leg")
		oven := "Leg 2: oven"
		core := "61.5 °C"
		if x.ID == "sear-last" {
			leg(oven).presses("Earlier")
			oven, core = "Leg 1: oven", "52.5 °C"
		}
		leg(oven).types("ends when, core", core)
		change("output", "Change what is told", "tell the temperatures at depths")
		leg("output").types("depths", "5 mm, 10 mm, 20 mm, 25 mm")
		j.p.waits(`!document.querySelector(".predicted [role=alert], .predicted .stale")`)
		j.presses("Save the cook file")
		j.presses("Leave it as it was") // back to the study
	}
}

// questions are asked: one stands there as an example, the others are added.
func (j *journey) questions() {
	direction := map[study.Direction]string{study.Lower: "lower", study.Higher: "higher"}
	for _, q := range j.wrote.Questions {
		if q.ID != "loss" {
			add := j.in("#questions").unfolds("Add a question")
			add.types("The question", q.Ask, "A short name for it", q.ID)
			if q.Tasting != nil {
				add.ticks("a blind tasting").types("Method of the tasting", "triangle test")
			} else {
				add.types("What is measured", strings.ReplaceAll(q.Response, "_", " "), "The claim says it is", direction[q.Claim], "Smallest difference that matters", q.Margin.Text)
			}
			add.presses("Add this question")
		}
		change := j.in("#q-" + q.ID).unfolds("Change this question")
		if q.Tasting != nil {
			change.types("Share of people who can really tell", percentText(q.Tasting.Discriminators), "Chance of a verdict by luck alone", number(q.Tasting.Alpha), "Chance of missing them", number(q.Tasting.Beta))
			change.types("The question", q.Ask+" ", "The question", q.Ask).saves("Save")
			continue
		}
		name := func(id string) string {
			return j.wrote.Treatments[slices.IndexFunc(j.wrote.Treatments, func(t study.Treatment) bool { return t.ID == id })].Name
		}
		change.types("The question", q.Ask, "Treatment", name(q.Compare.Treatment), "Compared with", name(q.Compare.Against), "Smallest difference that matters", q.Margin.Text)
		if q.ID == "loss" {
			j.p.waits(`document.querySelector("#q-loss .meaning").textContent.includes("teaspoon")`) // what two points of loss are in the kitchen
		}
		change.saves("Save")
	}
	for _, example := range []string{"usual", "new"} {
		j.in("#treatment-" + example).unfolds("Remove " + example).ticks("Yes, take it out.").saves("Remove " + example)
	}
	j.p.sees("The treatment new was removed")
}

// plan says how many, what is held the same, when a cook does not count.
func (j *journey) plan() {
	s := j.wrote
	j.in("#plan").unfolds("Change the plan").types("What is a block?", s.Blocks.What, "How many blocks", fmt.Sprint(s.Blocks.Count), "Pieces of each block", fmt.Sprint(s.Blocks.Pieces), "Spare pieces of each block", fmt.Sprint(s.Blocks.Spares)).saves("Save")
	labels := map[string]string{"thickness": "Thickness", "start": "Start temperature", "pan": "Pan temperature"}
	held := j.in("#plan").unfolds("Change what is held the same")
	for _, c := range s.Controlled {
		held.types(labels[c.Name], c.Text)
	}
	held.saves("Save")
	for _, x := range s.VoidRules {
		j.in("#plan").unfolds("Add a rule").types("When does a cook not count?", x.When, "A short name for it", x.ID).saves("Add a rule")
		j.p.waits(`document.querySelector("#rule-` + x.ID + `") !== null`)
	}
	j.in("#plan").unfolds("Change the food").types("Food", s.Foods.Animal, "Form", s.Foods.Form, "Fat it is cooked in", s.Foods.Fat, "Allergens in the food", strings.Join(s.Foods.Allergens, ", "), "Does anybody eat it?", "yes").saves("Save")
}

// kitchen lists the instruments with their checks.
func (j *journey) kitchen() {
	j.in("#plan").presses("List instruments and their checks")
	for _, x := range j.wrote.Instruments {
		var ice []string
		for _, c := range x.IceC {
			ice = append(ice, exactly(c)+" °C")
		}
		j.unfolds("Add an instrument").types("Its name", x.ID, "What is it?", x.What, "Tolerance class of a sensor", x.Class, "Checked on", x.Checked,
			"What it read in melting ice", strings.Join(ice, "; "), "How does it measure the pan?", x.Pan).saves("Add an instrument")
		j.p.waits(`document.querySelector("#instrument-` + x.ID + `") !== null`)
	}
	j.presses("Back to the study")
}

// pieces are listed from the plan, and measured.
func (j *journey) pieces() {
	j.in("#cooks").follows("List and change the pieces")
	j.unfolds("List the pieces of the plan").types("What the blocks are called", "L", "With an unprobed twin of each, for tasters?", "yes").saves("List the pieces of the plan")
	var measure hands
	for i, x := range j.wrote.Pieces {
		if i%mostPieceForms == 0 {
			if i > 0 {
				measure.saves("Save")
				j.follows(say("turn-on"))
			}
			measure = j.unfolds("Type in what was measured")
		}
		thick, _ := pieceValue(x, "thickness")
		measure.in(x.Label).types("Thickness", thick)
	}
	measure.saves("Save")
	j.p.shot("pieces")
	j.presses("Back to the study")
}

// orderAndSeal draws the run order from its seed and seals the plan.
func (j *journey) orderAndSeal() {
	j.in("#plan").follows("Draw from a seed of your own")
	j.types("Seed", j.wrote.Design.Seed).presses("Draw the run order")
	j.p.sees("The order of all 40 cooks")
	j.in("#plan").ticks("I am ready: this is what we will do.").presses("Seal the plan")
	j.p.sees("Sealed on", "Nothing that was sealed has changed")
	sealed, err := study.SealNow(j.wrote, j.demo.CookFiles, j.demo.SealedAt)
	if err != nil {
		j.p.Fatal(err)
	}
	if got := j.d.record(demoID).Seal; got.Hash != sealed.Hash {
		changed, _ := study.Compare(sealed, *got)
		j.p.Fatalf("the plan is sealed as %s, that of the demo as %s: %v", got.Hash, sealed.Hash, changed)
	}
}

// logs are loaded: one of each shape by itself, with what its columns come
// from, and the others at once by what was said of these.
func (j *journey) logs() {
	var files []string
	shapes := map[string]string{} // of a log, by its fingerprint
	for _, c := range j.demo.Cooks {
		file := filepath.Join(j.dir, c.LogName)
		if err := os.WriteFile(file, c.Log, 0o600); err != nil {
			j.p.Fatal(err)
		}
		files = append(files, file)
	}
	sensors := map[trace.Place]string{trace.Core: "probe-in", trace.Depth: "probe-in", trace.Surface: "probe-face", trace.Pan: "pan-1"}
	j.in("#cooks").presses("Load logs")
	j.p.do(chromedp.SetUploadFiles(chromedp.CSS("#logs"), files))
	j.p.waitsLong(`document.querySelectorAll("section.log").length === 41`)
	for _, c := range j.demo.Cooks {
		g, err := logfile.Inspect(bytes.NewReader(c.Log), logfile.Options{})
		if err != nil {
			j.p.Fatal(err)
		}
		if c.Cook.Role != study.Planned || shapes[g.Fingerprint] != "" {
			continue
		}
		shapes[g.Fingerprint] = c.LogName
		log := j.in(c.LogName)
		columns := log.unfolds(fmt.Sprintf("Its %d columns", len(g.Columns)))
		for _, ch := range g.Map().Channels {
			if sensor := sensors[ch.Place]; sensor != "" {
				columns.in(ch.Column).types("Instrument", sensor)
			}
		}
		log.types("Heat on after the log", "0:45").clicks("Load it")
		j.p.waitsLong(`document.body.innerText.includes(` + quoted("Loaded into cook "+c.Cook.Label) + `)`)
	}
	if len(shapes) != 2 {
		j.p.Fatalf("the demo has %d shapes of logs", len(shapes))
	}
	all := j.in("All of them at once")
	all.types("Heat on after each log", "soon after").clicks("Load all whose cook is known")
	j.p.waits(`document.querySelector("form[action$='/load/all'] [role=alert]") && document.querySelector("#heat-all").value === "soon after"`)
	all.types("Heat on after each log", "0:45")
	all.clicks("Load all whose cook is known")
	j.p.waitsLong(`document.querySelectorAll("section.log").length === 1 && document.querySelectorAll(".done p").length >= 38`)
	j.p.shot("loaded")
}

// voidAndSpare makes a cook void by its rule; the spare of its block waits
// until then.
func (j *journey) voidAndSpare() {
	var void, spare bench.DemoCook
	for _, c := range j.demo.Cooks {
		switch c.Cook.Role {
		case study.Void:
			void = c
		case study.Spare:
			spare = c
		}
	}
	load := func(says string) {
		j.in(spare.LogName).types("Into which cook", spare.Cook.Label, "Heat on after the log", "0:45").clicks("Load it")
		j.p.waitsLong(`document.body.innerText.includes(` + quoted(says) + `)`)
	}
	load(spare.Cook.Label + " is a spare")
	j.p.sees("Make the cook void that it replaces")
	j.p.shot("spare-waits")
	j.passes("link", "Back to the study")
	j.in("#cooks").follows(void.Cook.Label)
	rule := j.wrote.VoidRules[slices.IndexFunc(j.wrote.VoidRules, func(x study.VoidRule) bool { return x.ID == void.Cook.VoidRule })]
	j.in("#role").unfolds("Change what it counts as").types("It counts as", "void, by a rule of the plan", "The rule", rule.When, "What happened", void.Cook.VoidWhy).presses("Save what it counts as")
	j.p.sees(void.Cook.VoidWhy)
	j.passes("link", "All cooks")
	j.in("#cooks").presses("Load logs")
	load("Loaded into cook " + spare.Cook.Label)
	j.passes("link", "Back to the study")
}

// notes are typed in: of one cook each thing into its own form, of the rest the
// whole sheet into one, which leads on to the next cook.
func (j *journey) notes() {
	stages := map[study.Stage]string{study.Raw: stageWords(study.Raw), study.AtPull: stageWords(study.AtPull), study.AfterRest: stageWords(study.AfterRest)}
	cooks := j.d.record(demoID).Cooks
	for i, x := range cooks {
		c := j.demo.Cooks[slices.IndexFunc(j.demo.Cooks, func(c bench.DemoCook) bool { return c.Cook.Label == x.Label })]
		switch i {
		case 0:
			j.in("#cooks").follows(x.Label)
		case 1:
			j.follows(say("cook-after", x.Label))
		}
		if i == 0 {
			j.unfolds("Change the day").types("The day it was cooked", c.Cook.Day).presses("Save")
			for _, m := range c.Cook.Marks {
				if m.Kind != study.HeatOn {
					j.in("#marks").unfolds("Add a mark").types("What happened", strings.ReplaceAll(string(m.Kind), "-", " "), "When, from heat on (min:s)", clockOf(m.AtUS), "Note", m.Note).presses("Add a mark")
				}
			}
			for _, w := range c.Cook.Weighings {
				j.in("#weighings").unfolds("Add a weighing").types("When", stages[w.Stage], "Mass, such as", exactly(w.MassG)+" g", "When, from heat on", clockOf(w.AtUS), "Smallest step", exactly(w.ResG)+" g").presses("Add a weighing")
			}
			for _, x := range c.Cook.Deviations {
				add := say("add-deviation")
				j.in("#deviations").unfolds(add).types("What went otherwise than planned", x.What, "Why; may be left out", x.Why, "When, from heat on", clockOf(x.AtUS)).presses(add)
			}
			continue
		}
		times := map[study.MarkKind][]string{}
		for _, m := range c.Cook.Marks {
			times[m.Kind] = append(times[m.Kind], strings.TrimSpace(clockOf(m.AtUS)+" "+m.Note))
		}
		sheet := j.unfolds("Type in the whole sheet")
		sheet.types("The day it was cooked", c.Cook.Day, "Turned", strings.Join(times[study.Turn], "; "), "Off the heat", strings.Join(times[study.OffHeat], "; "), "Served", strings.Join(times[study.Served], "; "), "What else was noted", strings.Join(times[study.NoteMark], "\n"))
		for _, w := range c.Cook.Weighings {
			stage := say("sheet-stage-" + string(w.Stage))
			sheet.types(say("sheet-mass", stage), exactly(w.MassG)+" g", say("sheet-at", stage), clockOf(w.AtUS))
		}
		for _, x := range c.Cook.Deviations {
			sheet.types("What went otherwise than planned", x.What, "Why; may be left out", x.Why, "When, from heat on", clockOf(x.AtUS))
		}
		if i+1 < len(cooks) {
			sheet.passes("button", say("sheet-next", cooks[i+1].Label))
			continue
		}
		sheet.presses("Save the sheet")
	}
	j.p.shot("noted")
	j.follows("All cooks")
}

// tasting writes down the counts of a tasting that was held on paper.
func (j *journey) tasting() {
	tasted, err := study.Parse("study.yaml", j.demo.Tasted)
	if err != nil {
		j.p.Fatal(err)
	}
	x := tasted.Tastings[0]
	j.in("#tastings").unfolds("Write down the counts").types("How many assessments", fmt.Sprint(x.N), "How many of them were right", fmt.Sprint(x.Correct), "Note", x.Note).saves("Write them down")
}

func (j *journey) findings() {
	j.p.waitsLong(`!document.querySelector("[data-have]") && document.querySelectorAll(".finding").length === 5`)
	j.p.sees("20 of 20 blocks cooked")
	j.p.shot("findings")
	j.p.violations(axe(j.p.T))
}

// byCommands is what the commands answer of the demo that they make.
type byCommands struct {
	commands
	answer []byte
	err    error
}

func answeredByCommands(t *testing.T, dir string) (c byCommands) {
	if c.commands, c.err = build(t, dir); c.err != nil {
		return c
	}
	if _, c.err = c.try("demo", "--out", filepath.Join(dir, "demo")); c.err == nil {
		c.answer, c.err = c.try("answer", demoID, "--notebook", filepath.Join(dir, "demo", "demo.trivet"), "--json")
	}
	return c
}

// sameAs asks the commands: of the notebook that was clicked together, and of
// the package that the page hands out; both must answer as the demo does that
// the commands make.
func (j *journey) sameAs(c byCommands) {
	t, theirs := j.p.T, c.answer
	if c.err != nil {
		t.Fatal(c.err)
	}
	clicked := filepath.Join(j.dir, "clicked.trivet")
	if _, err := j.d.nb.Backup(context.Background(), clicked); err != nil {
		t.Fatal(err)
	}
	mine := c.run("answer", demoID, "--notebook", clicked, "--json")
	j.agree("the notebook that was clicked together", mine, theirs)

	var said struct {
		Findings []struct{ Question, Printed string }
	}
	if err := json.Unmarshal(theirs, &said); err != nil || len(said.Findings) != 5 {
		t.Fatalf("%v: %.200s", err, theirs)
	}
	var offline atomic.Bool
	p := newPerson(t, j.chromium, "reader", c.serves(clicked), 1280, 900, false, &offline)
	p.open("/")
	p.hands().follows(j.wrote.Title)
	p.waitsLong(`!document.querySelector("[data-have]") && document.querySelectorAll(".finding").length === 5`)
	for _, f := range said.Findings {
		if shown := p.list(`[document.querySelector("#finding-` + f.Question + ` .verdict").textContent]`)[0]; shown != sentenceOf(f.Printed) {
			t.Errorf("%s: the page prints %q, the command %q", f.Question, shown, f.Printed)
		}
	}
	pack := p.downloads("Save the data package", filepath.Join(j.dir, "download"))
	if out := c.run("study", "verify", pack); !strings.Contains(string(out), "unchanged since") {
		t.Errorf("the package that the page hands out: %s", out)
	}
	j.agree("the package that the page hands out", c.run("answer", pack, "--json"), theirs)
}

func (j *journey) agree(of string, mine, theirs []byte) {
	if bytes.Equal(mine, theirs) {
		return
	}
	i := 0
	for i < min(len(mine), len(theirs)) && mine[i] == theirs[i] {
		i++
	}
	j.p.Errorf("%s answers otherwise than the demo of the commands, from:\n%.400s\nrather than\n%.400s", of, mine[max(0, i-100):], theirs[max(0, i-100):])
}

// downloads presses what gives a file to keep, and gives the path of the file.
func (p *person) downloads(button, dir string) string {
	p.Helper()
	if err := os.MkdirAll(dir, 0o700); err != nil {
		p.Fatal(err)
	}
	to := cdpbrowser.SetDownloadBehaviorParams{Behavior: "allow", BrowserContextID: chromedp.FromContext(p.ctx).BrowserContextID, DownloadPath: dir}
	call(p, cdpbrowser.SetDownloadBehavior, to)
	h := p.hands()
	h.clicks(button)
	for range 600 {
		if all, _ := filepath.Glob(filepath.Join(dir, "*.zip")); len(all) == 1 {
			return all[0]
		}
		time.Sleep(50 * time.Millisecond)
	}
	p.Fatalf("%s: nothing came of %q", p.name, button)
	return ""
}
