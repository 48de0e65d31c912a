package publish

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	stdhtml "html"
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"trivet/fault"
	"trivet/figure"
)

func html(t *testing.T, r Report) string {
	t.Helper()
	var b bytes.Buffer
	if err := r.WriteHTML(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestPageLeadsWithTheAnswer(t *testing.T) {
	page := html(t, sample())
	last := -1
	for _, want := range []string{
		"<h1>Sear first or sear last</h1>",
		english.Claim,
		`<h2 id="answers-h">`,
		"No difference that matters</p>",
		"f-answer-line-w-title",
		`<h2 id="evidence-h">`,
		"The smallest difference that matters was set at 2\u00a0points.",
		"<strong>Sealed before data:</strong> passed.",
		`<h2 id="plan-h">`,
		"3f1d0e2a5b6c7d8e9f00112233445566778899aabbccddeeff00112233445566",
		"A local clock can lie",
		"it is now 205 °C ± 8 °C.</li>",
		`<h2 id="cooks-h">`,
		"the probe slipped out before the pull</p>",
		`<h2 id="methods-h">`,
		"Goeman",
		`<h2 id="cautions-h">`,
		english.CautionsLead,
		`<h2 id="data-h">`,
		"9c56cc51b374c3ba189210d5b6d4bf57790d351c96c47c02190ecf1e430635ab",
		"trivet answer data",
		"CC-BY-4.0",
	} {
		i := strings.Index(page[last+1:], want)
		if i < 0 {
			t.Fatalf("%q is missing, or stands before what should precede it", want)
		}
		last += 1 + i
	}
}

func TestPageIsSelfContained(t *testing.T) {
	page := html(t, sample())
	for _, bad := range []*regexp.Regexp{
		regexp.MustCompile(`(?i)<(script|link|iframe|object|embed|form)\b`),
		regexp.MustCompile(`(?i)\b(src|srcset|action)\s*=`),
		regexp.MustCompile(`(?i)\bhref="(https?:|//)`),
		regexp.MustCompile(`(?i)@import|url\((?:"|')?(?:https?:|//)`),
		regexp.MustCompile(`(?i)\bon[a-z]+\s*=\s*"`),
		regexp.MustCompile(`ZgotmplZ`), // what html/template prints for content it refused
		regexp.MustCompile(`>[^<]*(%!|<no value>|\bNaN\b)`),
	} {
		if m := bad.FindString(page); m != "" {
			t.Errorf("the page holds %q", m)
		}
	}
	// The policy names the style sheet by its hash.
	_, rest, _ := strings.Cut(page, "<style>")
	css, _, _ := strings.Cut(rest, "</style>")
	sum := sha256.Sum256([]byte(css))
	want := "style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
	if !strings.Contains(stdhtml.UnescapeString(page), want) {
		t.Error("the policy does not hold the hash of the style sheet")
	}
}

func TestInventedIsSaidEverywhere(t *testing.T) {
	page := html(t, sample())
	if n := strings.Count(page, english.Invented); n != 2 {
		t.Errorf("the banner stands %d times, want at the top and at the end", n)
	}
	if !strings.Contains(page, "<title>Invented data: ") || !strings.Contains(page, `@top-right{content:"Invented data"`) {
		t.Error("the title or the printed sheets do not say it")
	}
	svgs := strings.Split(page, "<svg ")[1:]
	if len(svgs) < 8 {
		t.Fatalf("only %d figures", len(svgs))
	}
	for i, s := range svgs {
		s, _, _ = strings.Cut(s, "</svg>")
		if !strings.Contains(s, ">"+figure.InventedText+"</text>") {
			t.Errorf("figure %d does not say that its data are invented", i+1)
		}
	}
	r := sample()
	r.Invented = false
	if page := html(t, r); strings.Contains(page, english.Invented) {
		t.Error("real data are called invented")
	}
}

func TestMarkupInDataStaysText(t *testing.T) {
	const evil = `<img src=x onerror=alert(1)>"'&</style><script>alert(2)</script>`
	r := sample()
	r.Title, r.Claim.Says, r.Licence, r.Rerun = evil, evil, evil, evil
	r.Authors = []string{evil}
	r.Questions[0].Ask, r.Questions[0].Printed, r.Questions[0].ID = evil, evil, evil
	r.Questions[0].Notes = []fault.Note{{Code: "x", Text: evil}}
	r.AnswerLine.Answers[0].Ask = evil
	r.Cooks[0].Label, r.Cooks[0].Treatment = evil, evil
	r.Cooks[0].Deviations = []Deviation{{What: evil}}
	r.Data[0].Path = "javascript:alert(3)"
	page := html(t, r)
	for _, bad := range []string{"<img", "<script", `href="javascript:`} {
		if strings.Contains(page, bad) {
			t.Errorf("%q reached the page", bad)
		}
	}
	if strings.Count(page, "</style>") != 1 {
		t.Error("the style sheet was closed by data")
	}
}

// Names in any script, and names alike but for their signs, get ids of their
// own.
func TestIdsAreUnique(t *testing.T) {
	r := sample()
	r.Cooks = r.Cooks[:4]
	for i, label := range []string{"Л1", "Л2", "L 1", "L-1"} {
		r.Cooks[i].Label = label
	}
	r.Questions[1].ID = r.Questions[0].ID
	r.Overview = append(r.Overview, r.Overview[0])
	page := html(t, r)
	seen := map[string]bool{}
	for _, m := range regexp.MustCompile(`\sid="([^"]*)"`).FindAllStringSubmatch(page, -1) {
		if seen[m[1]] {
			t.Errorf("id %q twice", m[1])
		}
		seen[m[1]] = true
	}
	for _, m := range regexp.MustCompile(`href="#([^"]*)"`).FindAllStringSubmatch(page, -1) {
		if !seen[m[1]] {
			t.Errorf("link to nowhere: %q", m[1])
		}
	}
}

// A cook of which only readings are known stands in the table alone, and a
// column that nothing fills is left out.
func TestBareCooksStandInTheTableAlone(t *testing.T) {
	r := Report{Title: "t", Cooks: []Cook{
		{Label: "bare", Values: []Value{{Name: "breakage angle", Measure: figure.Measure{Unit: "deg"}, Value: 44.8, U: 2}}},
		{Label: "full", Deviations: []Deviation{{What: "the oven was late"}}},
	}}
	page := html(t, r)
	for _, bad := range []string{`id="cook-bare"`, `href="#cook-bare"`, ">Day</th>"} {
		if strings.Contains(page, bad) {
			t.Errorf("%q is there", bad)
		}
	}
	for _, want := range []string{"44.8 ±\u00a02.0", `id="cook-full"`, `href="#cook-full"`, "breakage angle, deg"} {
		if !strings.Contains(page, want) {
			t.Errorf("%q is missing", want)
		}
	}
}

func TestPageSaysWhatIsMissing(t *testing.T) {
	page := html(t, Report{Title: "Nothing yet"})
	for _, want := range []string{english.AnswersNone, english.Unsealed, english.CooksNone, english.DataNone, english.LicenceNone, english.CautionsLead} {
		if !strings.Contains(page, strings.ReplaceAll(want, "'", "&#39;")) {
			t.Errorf("%q is missing", want)
		}
	}
}

func TestSealTimeIsComparedWithTheFirstCook(t *testing.T) {
	at := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	for _, tc := range []struct {
		name  string
		first time.Time
		want  string
	}{
		{"before", at.Add(time.Hour), english.SealBefore},
		{"after", at.Add(-time.Hour), english.SealAfter},
		{"at once is not before", at, english.SealAfter},
		{"unknown", time.Time{}, english.SealUnknown},
	} {
		t.Run(tc.name, func(t *testing.T) {
			page := html(t, Report{Title: "t", Plan: Plan{Sealed: true, Hash: "ab", At: at, First: tc.first}})
			if !strings.Contains(page, tc.want) {
				t.Errorf("%q is missing", tc.want)
			}
		})
	}
}

func TestTheSameReportGivesTheSameBytes(t *testing.T) {
	first, second := html(t, sample()), html(t, sample())
	if first != second {
		t.Error("two pages of one report differ")
	}
}

func TestNumbersAreRoundedToTheirUncertainty(t *testing.T) {
	nan := math.NaN()
	base := Evidence{Response: "cooking loss", Measure: figure.Measure{Kind: figure.Points}, Value: figure.Measure{Kind: figure.Percent}, Level: 0.95, Blocks: 20, Pieces: 40, TreatMean: nan, CtrlMean: nan, P: nan}
	tests := []struct {
		name string
		edit func(*Evidence)
		want string
	}{
		{"points", func(e *Evidence) {
			e.Estimate, e.Outer, e.Margin = 0.3137, figure.Interval{Lo: -0.4218, Hi: 1.0492}, 2
		}, "Cooking loss was on average 0.31\u00a0points higher with A than with B (95\u00a0% interval: −0.42 to +1.05\u00a0points; 20 blocks, 40 pieces). The smallest difference that matters was set at 2\u00a0points."},
		{"a wide interval leaves whole numbers", func(e *Evidence) {
			e.Estimate, e.Outer = -13.73, figure.Interval{Lo: -31.2, Hi: 3.7}
		}, "Cooking loss was on average 14\u00a0points lower with A than with B (95\u00a0% interval: −31 to +4\u00a0points; 20 blocks, 40 pieces)."},
		{"a ratio below one", func(e *Evidence) {
			e.Measure.Kind, e.Estimate, e.Outer = figure.LogRatio, math.Log(0.8), figure.Interval{Lo: math.Log(0.7), Hi: math.Log(0.91)}
		}, "Cooking loss was on average 20\u00a0% lower with A than with B (95\u00a0% interval: −30 to −9\u00a0%; 20 blocks, 40 pieces)."},
		{"a difference in °F has no offset", func(e *Evidence) {
			e.Measure, e.Estimate, e.Outer, e.Margin = figure.Measure{Kind: figure.Difference, Degrees: figure.Fahrenheit}, 10, figure.Interval{Lo: 8, Hi: 12}, 5
		}, "Cooking loss was on average 18.0\u00a0°F higher with A than with B (95\u00a0% interval: +14.4 to +21.6\u00a0°F; 20 blocks, 40 pieces). The smallest difference that matters was set at 9\u00a0°F."},
		{"seconds", func(e *Evidence) {
			e.Measure, e.Estimate, e.Outer, e.Margin = figure.Measure{Kind: figure.Duration}, -83.4, figure.Interval{Lo: -120.2, Hi: -46.6}, 30
		}, "Cooking loss was on average 1:23\u00a0min lower with A than with B (95\u00a0% interval: −2:00 to −0:47\u00a0min; 20 blocks, 40 pieces). The smallest difference that matters was set at 0:30\u00a0min."},
		{"one open end", func(e *Evidence) {
			e.Estimate, e.Outer = 2.5, figure.Interval{Lo: 1.1, Hi: math.Inf(1)}
		}, "Cooking loss was on average 2.5\u00a0points higher with A than with B (95\u00a0% interval: above +1.1\u00a0points; 20 blocks, 40 pieces)."},
		{"no estimate", func(e *Evidence) { e.Estimate = nan }, ""},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) {
			e := base
			tc.edit(&e)
			q := Question{Treatment: "A", Control: "B", Evidence: &e}
			if got := q.lead(); got != tc.want {
				t.Errorf("got  %q\nwant %q", got, tc.want)
			}
			for _, f := range q.numbers() {
				if strings.Contains(f.Text, "NaN") || strings.Contains(f.Text, "Inf") {
					t.Errorf("%s: %s", f.Term, f.Text)
				}
			}
		})
	}
}

func TestFigureTablesAlignTheirDecimals(t *testing.T) {
	got := tableOf(figure.Table{Columns: []string{"block", "a", "n"}, Rows: [][]string{{"L1", "21", "3"}, {"L2", "-0.098994", "12"}, {"L3", "", "0"}, {"L4", "-0.0001", "7"}}})
	want := [][]string{{"L1", "21.00", "3"}, {"L2", "−0.10", "12"}, {"L3", "", "0"}, {"L4", "0.00", "7"}}
	for i, row := range want {
		for j, text := range row {
			if got.Rows[i][j].Text != text {
				t.Errorf("row %d, column %d: %q, want %q", i+1, j+1, got.Rows[i][j].Text, text)
			}
		}
	}
	if got.Columns[0].Number || !got.Columns[1].Number {
		t.Error("the numeric columns are not told from the rest")
	}
}

func BenchmarkPage(b *testing.B) {
	r := sample()
	b.ReportAllocs()
	for b.Loop() {
		var out bytes.Buffer
		if err := r.WriteHTML(&out); err != nil {
			b.Fatal(err)
		}
	}
}
