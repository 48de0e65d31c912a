package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"html"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode"

	"trivet/bench"
	"trivet/measure"
	"trivet/safety"
	"trivet/study"
	"trivet/tasting"
)

// markedCatalogue, set in the environment, makes the test program one whose
// catalogue stands in marks, so that what does not come from it is seen.
const markedCatalogue = "TRIVET_TEST_MARKED"

// Every word of every page comes from the catalogue, or is data: of the study,
// of its logs, or worded by another package (see notOurs).
func TestEveryWordComesFromTheCatalogue(t *testing.T) {
	if os.Getenv(markedCatalogue) == "" {
		cmd := exec.Command(os.Args[0], "-test.run=^TestEveryWordComesFromTheCatalogue$", "-test.v")
		cmd.Env = append(os.Environ(), markedCatalogue+"=yes")
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		if !strings.Contains(string(out), "pages looked at") {
			t.Fatalf("nothing was looked at:\n%s", out)
		}
		return
	}
	for _, words := range []map[string]string{english, deeds} {
		for key, text := range words {
			words[key] = "⟦" + text + "⟧"
		}
	}
	d, links := openEverything(t)
	label := d.record(demoID).Cooks[0].Label
	const at = "/studies/" + demoID
	pages := []string{"/", "/trash", at, at + "/text", at + "/treatments/sear-first", at + "/treatments/sear-first?view=text", at + "/cooks", at + "/cooks/" + label, at + "/load", at + "/power",
		at + "/pieces", at + "/traces", "/links", "/audit", "/tastings", "/tastings/new?study=" + demoID, links["running"], links["closed"], links["result"], links["cook"],
		links["preparer"], links["server"], links["tasting"], "/no/such/page", "/c/AAAAAAAAAAAAAAAAAAAAAAAA"}
	data := dataOf(t, d)
	looked, left := 0, map[string]string{}
	for _, page := range pages {
		guest := &deskServer{TB: t, nb: d.nb, desk: d.desk, http: d.http, client: newClient()}
		_, body := guest.get(page)
		if !strings.Contains(body, "⟦") {
			t.Fatalf("%s is not in marks", page)
		}
		looked++
		for _, text := range unmarked(body) {
			if !data(text) {
				left[text] = page
			}
		}
	}
	for text, page := range left {
		t.Errorf("%s: %q", page, text)
	}
	fmt.Printf("%d pages looked at\n", looked)
}

var (
	notText   = regexp.MustCompile(`(?s)<(script|style|textarea|code|pre|figure)\b.*?</(script|style|textarea|code|pre|figure)>|<!--.*?-->`) // package figure words its figures
	textNode  = regexp.MustCompile(`(?s)>([^<]+)<`)
	wordAttrs = regexp.MustCompile(`\s(?:aria-label|alt|title|placeholder|data-words|data-lost|data-back|data-unsent|data-awake|data-saving)="([^"]*)"`)
)

var jsonKey = regexp.MustCompile(`["{,]*"[a-z]+":"`)

// unmarked are the texts of a page, those in attributes that are read out too,
// without what stands in marks.
func unmarked(body string) (out []string) {
	body = notText.ReplaceAllString(body, "")
	found := append(textNode.FindAllStringSubmatch(body, -1), wordAttrs.FindAllStringSubmatch(body, -1)...)
	for _, m := range found {
		depth := 0
		rest := strings.Map(func(r rune) rune {
			switch r {
			case '⟦':
				depth++
				return '\n'
			case '⟧':
				depth--
				return -1
			}
			if depth > 0 {
				return -1
			}
			return r
		}, jsonKey.ReplaceAllString(html.UnescapeString(m[1]), ""))
		for _, text := range strings.Split(rest, "\n") {
			if text = strings.TrimSpace(text); strings.IndexFunc(text, unicode.IsLetter) >= 0 {
				out = append(out, text)
			}
		}
	}
	return out
}

// dataOf tells what of a page is data: what somebody wrote or a device, and
// what other packages made of it, which word their own results.
func dataOf(t *testing.T, d *deskServer) func(string) bool {
	t.Helper()
	rec := d.record(demoID)
	got, err := bench.Answer(t.Context(), d.nb, demoID, bench.AnswerOptions{Now: time.Now()})
	if err != nil {
		t.Fatal(err)
	}
	all := []any{rec, got, string(rec.Document), rec.CookFiles, d.desk.s.room.Tastings(), safety.Cautions(bench.SafetyFacts(rec, nil)), study.Responses()}
	for _, m := range tasting.Methods() {
		all = append(all, m.Describe())
	}
	for _, c := range rec.Cooks {
		in, err := bench.CookInput(t.Context(), d.nb, rec, c)
		if err != nil {
			t.Fatal(err)
		}
		res, err := measure.Cook(in)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range res.Responses {
			if src, share := x.Dominant(); share > 0 {
				all = append(all, fmt.Sprintf("%s, %.0f %%; %s", src.Name, 100*share, x.Halving()))
			}
		}
		all = append(all, res, res.Remarks(), bench.Clocks(in, rec.Study))
	}
	var b bytes.Buffer
	for _, x := range all {
		fmt.Fprintf(&b, "%+v\n", x)
		e := json.NewEncoder(&b)
		e.SetEscapeHTML(false)
		if err := e.Encode(x); err != nil {
			b.WriteString(err.Error())
		}
	}
	// What these packages say of their own subject, whole sentences.
	for _, pkg := range []string{"safety", "tasting", "logfile", "figure", "heat", "study"} {
		files, err := filepath.Glob(filepath.Join("..", pkg, "*.go"))
		if err != nil || len(files) == 0 {
			t.Fatal(pkg, err)
		}
		for _, name := range files {
			src, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			b.Write(src)
		}
	}
	shapes := shapesOf(t, "answer", "publish", "measure", "study", "safety", "tasting", "logfile", "bench")
	made := plainly(b.String())
	return func(text string) bool {
		if slices.ContainsFunc(everywhere, func(re *regexp.Regexp) bool { return re.MatchString(text) }) {
			return true
		}
		whole := plainly(text)
		if slices.ContainsFunc(shapes, func(re *regexp.Regexp) bool { return re.MatchString(whole) }) {
			return true
		}
		for _, sentence := range sentences.Split(text, -1) {
			sentence = plainly(sentence)
			if !strings.Contains(made, sentence) && !slices.ContainsFunc(shapes, func(re *regexp.Regexp) bool { return re.MatchString(sentence) }) {
				return false
			}
		}
		return true
	}
}

var sentences = regexp.MustCompile(`[.:;,] | – | · | \(`)

// shapesOf are the sentences of packages, with anything where they are filled
// in.
func shapesOf(t *testing.T, packages ...string) (out []*regexp.Regexp) {
	t.Helper()
	literal := regexp.MustCompile(`"(?:[^"\\\n]|\\.)*"`)
	verb := regexp.MustCompile(`%[-+# 0-9.*\[\]]*[a-zA-Z%]`)
	for _, pkg := range packages {
		files, err := filepath.Glob(filepath.Join("..", pkg, "*.go"))
		if err != nil || len(files) == 0 {
			t.Fatal(pkg, err)
		}
		for _, name := range files {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			src, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			for _, quoted := range literal.FindAllString(string(src), -1) {
				text, err := strconv.Unquote(quoted)
				if err != nil {
					continue
				}
				var parts []string
				letters := 0
				for _, part := range verb.Split(text, -1) {
					part = plainly(part)
					letters += len(part)
					parts = append(parts, regexp.QuoteMeta(part))
				}
				if letters >= 6 {
					out = append(out, regexp.MustCompile("^"+strings.Join(parts, ".*")+"$"))
				}
			}
		}
	}
	return out
}

var spaces = regexp.MustCompile(`[\s_"“”.,:;·()-]+`)

// plainly is a text without capitals, spaces and signs.
func plainly(text string) string { return spaces.ReplaceAllString(strings.ToLower(text), "") }

// everywhere are texts that stand in every language: amounts, times, names of
// files and formats.
var everywhere = []*regexp.Regexp{
	regexp.MustCompile(`^[\d\s\x{a0}.,:;±−–×()%/+= kt-]*((°C|°F|mm|in|K|K/min|g|kg|oz|lb|s|min|h|W|kB|B|log10|UTC|x|to)\b[\d\s\x{a0}.,:;±−–()%/+=kt-]*)*$`),
	regexp.MustCompile(`^(· )?trivet$`), regexp.MustCompile(`^(SVG|PDF|CSV|PNG|°C|°F|A|B|W|Chromium)$`),
	regexp.MustCompile(`^[0-9a-f-]{8,}$`), regexp.MustCompile(`^(https?|file):`), regexp.MustCompile(`^/`), regexp.MustCompile(`^[\w-]+\.(csv|yaml)$`),
	regexp.MustCompile(`^((bottom|top|ends when), )?[a-z_]+$`), // keys of a cook file, words of the record
	// Sentences that packages put together from parts.
	regexp.MustCompile(`^With .+: .+ (lower|higher)\b.*\.$`), regexp.MustCompile(`^(Margin of|Tasting) “`), regexp.MustCompile(`^\d+ blocks \(`),
	regexp.MustCompile(`; class T special; reads `), regexp.MustCompile(`^Nothing says what [\w-]+ reads in melting ice\.$`), regexp.MustCompile(`°C from the brackets in its name$`),
	regexp.MustCompile(`^(\d{3} (early|late)-salt( · )?)+$`), // a key that was revealed
	regexp.MustCompile(`tablet at the stove$`),               // as the lead named it
}

// Templates hold no words of their own: all are said.
func TestTemplatesHoldNoWords(t *testing.T) {
	action := regexp.MustCompile("(?s)\\{\\{(?:[^}\"]|\"(?:[^\"\\\\]|\\\\.)*\"|\\}[^}])*\\}\\}")
	tags := regexp.MustCompile(`(?s)<!--.*?-->|<[^>]*>`)
	attrs := regexp.MustCompile(`\s(?:aria-label|alt|title|placeholder|label)="([^"]*)"`)
	names := []string{"trivet", "study.yaml", "yes", "no", "SVG", "PDF", "CSV", "PNG", "A", "B", "°C", "°F", "mm", "in", "K", "g"}
	for _, pattern := range []string{"pages/*.tmpl", "templates/*.tmpl"} {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			t.Fatal(pattern, err)
		}
		for _, name := range files {
			b, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			text := string(b)
			var words []string
			for _, m := range attrs.FindAllStringSubmatch(action.ReplaceAllString(text, ""), -1) {
				words = append(words, m[1])
			}
			text = regexp.MustCompile(`(?s)\{\{define "(described|size)"\}\}.*?\n`).ReplaceAllString(text, "")
			words = append(words, strings.FieldsFunc(tags.ReplaceAllString(action.ReplaceAllString(text, ""), "\n"), func(r rune) bool { return r == '\n' || r == '·' })...)
			for _, w := range words {
				if w = strings.TrimSpace(html.UnescapeString(w)); strings.IndexFunc(w, unicode.IsLetter) >= 0 && !slices.Contains(names, w) {
					t.Errorf("%s: %q", name, w)
				}
			}
		}
	}
}

// Scripts hold no words of their own: what they show comes with the page.
func TestScriptsHoldNoWords(t *testing.T) {
	shown := regexp.MustCompile("(?:textContent|innerText|title|alt|placeholder|ariaLabel)\\s*[:=]\\s*([\"'`][^\"'`]*[A-Za-z]{2}[^\"'`]*[\"'`])|setAttribute\\(\\s*\"(?:aria-label|title|alt|aria-valuetext)\",\\s*([\"'`][^\"'`]*[A-Za-z]{2}[^\"'`]*[\"'`])")
	hole := regexp.MustCompile(`\$\{.*`)
	n := 0
	for _, pattern := range []string{"ui/src/*.ts", "assets/*.js"} {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			t.Fatal(pattern, err)
		}
		for _, name := range files {
			b, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			n += strings.Count(string(b), "textContent")
			for _, m := range shown.FindAllStringSubmatch(string(b), -1) {
				literal := hole.ReplaceAllString(m[1]+m[2], "")
				if strings.IndexFunc(literal, unicode.IsLetter) >= 0 {
					t.Errorf("%s says %s", name, m[0])
				}
			}
		}
	}
	if n < 10 {
		t.Errorf("only %d places show text: the pattern has lost them", n)
	}
}
