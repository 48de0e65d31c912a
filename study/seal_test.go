package study

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"trivet/fault"
)

var cookFiles = map[string][]byte{
	"cooks/sear-first.yaml": []byte(cookFirst),
	"cooks/sear-last.yaml":  []byte(cookLast),
}

const cookFirst = `# Seared first
piece: {shape: slab, thickness: 30 mm, food: pork tenderloin, start: 5 °C}
legs:
  - name: sear
    bottom: {pan: 205 °C, contact: 400}
    top: {air: 22 °C, h: 8}
    ends_when: {time: 2 min}
`

const cookLast = `piece: {shape: slab, thickness: 30 mm, food: pork tenderloin, start: 5 °C}
legs:
  - name: oven
    bottom: {air: 135 °C, h: 20}
    top: {air: 135 °C, h: 20}
    ends_when: {core: 52 °C}
`

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

func sealOf(t testing.TB, doc string, files map[string][]byte) Seal {
	t.Helper()
	s, err := Parse("study.yaml", []byte(doc))
	if err != nil {
		t.Fatal(err)
	}
	seal, err := SealNow(s, files, noon)
	if err != nil {
		t.Fatal(err)
	}
	return seal
}

// TestSealIsDeafToSpelling rewrites the same plan in other words.
func TestSealIsDeafToSpelling(t *testing.T) {
	_, source := example(t)
	want := sealOf(t, string(source), cookFiles)
	replace := func(pairs ...string) func(string) string {
		return func(s string) string {
			for i := 0; i < len(pairs); i += 2 {
				if !strings.Contains(s, pairs[i]) {
					panic("nothing to replace: " + pairs[i])
				}
			}
			return strings.NewReplacer(pairs...).Replace(s)
		}
	}
	for name, rewrite := range map[string]func(string) string{
		"units":             replace("30 mm ± 1 mm", "3.0 cm ± 0.1 cm", "5 °C ± 1 °C", "41 °F ± 1.8 °F", "400 °F ± 9 °F", "400 degF ± 5 °C", "margin: 5 N", "margin: 5.0 N"),
		"bracketed ±":       replace("30 mm ± 1 mm", "(30 ± 1) mm"),
		"percent and share": replace("alpha: 5 %", "alpha: 0.05", "discriminators: 30 %", "discriminators: 0.30"),
		"target":            replace("time_to_core(60 °C)", "time_to_core( 140 °F )"),
		"method":            replace("method: Triangle", "method: triangle"),
		"key order":         replace("{treatment: sear-first, against: sear-last}", "{against: sear-last, treatment: sear-first}"),
		"list order":        replace("  - {id: sear-last, control: true, cook: cooks/sear-last.yaml}\n", "", "    set: {sear: first}\n", "    set: {sear: first}\n  - {cook: cooks/sear-last.yaml, id: sear-last, control: yes}\n"),
		"comments":          replace("claim:\n", "# a remark\nclaim:   # another\n"),
		"folding":           replace("fair: both chops of a pair come from one loin", "fair: both chops of a pair\n    come from  one loin"),
		"Windows":           func(s string) string { return strings.ReplaceAll(s, "\n", "\r\n") },
		"default written":   replace("claim: lower            # higher | lower | either\n", "claim: lower\n    blind: no\n"),
		"cooks and results": replace("250.4 g", "251 g", "correct: 27", "correct: 28", "licence: CC-BY-4.0", "licence: CC0-1.0"),
	} {
		if got := sealOf(t, rewrite(string(source)), cookFiles); got.Hash != want.Hash {
			t.Errorf("%s changed the seal:\n%s", name, cmp.Diff(string(want.Canonical), string(got.Canonical)))
		}
	}
	respelt := map[string][]byte{
		"cooks/sear-first.yaml": []byte(strings.NewReplacer("30 mm", "3 cm", "2 min", "120 s", "205 °C", "401 °F", "# Seared first\n", "").Replace(cookFirst)),
		"cooks/sear-last.yaml":  []byte(strings.Replace(cookLast, "{shape: slab, thickness: 30 mm, food: pork tenderloin, start: 5 °C}", "\n  start: 41 °F\n  food: pork tenderloin\n  thickness: 0.03 m\n  shape: slab", 1)),
	}
	if got := sealOf(t, string(source), respelt); got.Hash != want.Hash {
		t.Errorf("respelt cook files changed the seal:\n%s", cmp.Diff(string(want.Canonical), string(got.Canonical)))
	}
}

// TestSealHearsEveryChange changes one sealed value at a time and reads what
// Compare says of it.
func TestSealHearsEveryChange(t *testing.T) {
	_, source := example(t)
	sealed := sealOf(t, string(source), cookFiles)
	for _, c := range []struct{ from, to, says string }{
		{"margin: 2 points", "margin: 1 point", "margin of question loss: 2 points → 1 point"},
		{"margin: 10 %", "margin: 20 s", "margin of question time: 10 % → 20 s"},
		{"margin: 5 N", "margin: 6 N", "margin of question tender: 5 N → 6 N"},
		{"    claim: lower            #", "    claim: either #", "claim of question loss: lower → either"},
		{"time_to_core(60 °C)", "time_to_core(61 °C)", "target (°C) of question time: 60 → 61"},
		{"juicier than searing it last", "juicier", "claim, says: Searing a chop first keeps it juicier than searing it last → Searing a chop first keeps it juicier"},
		{"count: 20", "count: 12", "number of blocks: 20 → 12"},
		{"spares: 1", "spares: 2", "spares per block: 1 → 2"},
		{"30 mm ± 1 mm", "30 mm ± 2 mm", "controlled thickness: 30 mm ± 1 mm → 30 mm ± 2 mm"},
		{"  pan: 400 °F ± 9 °F\n", "", "controlled pan: removed (204.4444444 °C ± 5 °C)"},
		{"alpha: 5 %, power", "alpha: 10 %, power", "risk alpha: 0.05 → 0.1"},
		{"mode: fixed", "mode: sequential", "risk mode: fixed → sequential"},
		{"discriminators: 30 %", "discriminators: 25 %", "tasting discriminators of question taste: 0.3 → 0.25"},
		{"before the pull}", "at any time}", "void rule probe-slip: the probe came out before the pull → the probe came out at any time"},
		{"set: {sear: first}", "set: {sear: first, salt: 5 g}", "salt of treatment sear-first: added (5 g)"},
		{`seed: "20260301"`, `seed: "20260302"`, "seed: 20260301 → 20260302"},
		{"piece: L01-a, treatment: sear-first, burner: left", "piece: L01-a, treatment: sear-first, burner: right", "burner of run 1: left → right"},
		{"scale: [pale, golden, brown]", "scale: [pale, brown]", "scale of reading crust: [pale, golden, brown] → [pale, brown]"},
		{"round core, unit: N}", "round core, unit: N, resolution: 0.5}", "resolution of reading shear_force: added (0.5)"},
		{"round core, unit: N}", "round core, unit: N, limits: [0, 200]}", "limits of reading shear_force: added ([0, 200])"},
		{"    judged: yes\n    blind: yes", "    judged: yes\n    blind: no", "blind of question crust: yes → no"},
	} {
		changed := strings.Replace(string(source), c.from, c.to, 1)
		if changed == string(source) {
			t.Fatalf("nothing to replace: %s", c.from)
		}
		if strings.Contains(c.to, "[pale, brown]") {
			changed = strings.Replace(changed, "      crust: golden\n", "", 1)
		}
		now := sealOf(t, changed, cookFiles)
		changes, err := Compare(sealed, now)
		if err != nil {
			t.Fatal(err)
		}
		if now.Hash == sealed.Hash || len(changes) != 1 {
			t.Errorf("%s → %s: %d changes %v", c.from, c.to, len(changes), changes)
			continue
		}
		if got := changes[0].String(); got != c.says {
			t.Errorf("got  %s\nwant %s", got, c.says)
		}
	}
	cook := map[string][]byte{"cooks/sear-last.yaml": cookFiles["cooks/sear-last.yaml"],
		"cooks/sear-first.yaml": bytes.Replace(cookFiles["cooks/sear-first.yaml"], []byte("2 min"), []byte("3 min"), 1)}
	changes, err := Compare(sealed, sealOf(t, string(source), cook))
	if err != nil || len(changes) != 1 || !strings.Contains(changes[0].What, "cook file of treatment sear-first") {
		t.Errorf("a changed cook file: %v %v", changes, err)
	}
	if same, err := Compare(sealed, sealed); err != nil || len(same) != 0 {
		t.Errorf("a seal differs from itself: %v %v", same, err)
	}
}

// TestSealIgnoresOrderAndUnits draws plans and writes each twice, with keys
// shuffled, comments strewn in and lengths in another unit: one hash. A
// third writing with one number changed: another hash.
func TestSealIgnoresOrderAndUnits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 5).Draw(t, "questions")
		count := rapid.IntRange(1, 40).Draw(t, "count")
		mm := rapid.IntRange(10, 60).Draw(t, "mm")
		margins := rapid.SliceOfN(rapid.IntRange(1, 90), n, n).Draw(t, "margins")
		write := func(seed uint64, otherUnits bool, bump int) string {
			r := rand.New(rand.NewPCG(seed, 1))
			shuffled := func(sep string, parts ...string) string {
				r.Shuffle(len(parts), func(i, j int) { parts[i], parts[j] = parts[j], parts[i] })
				return strings.Join(parts, sep)
			}
			thickness := fmt.Sprintf("%d mm ± 1 mm", mm)
			if otherUnits {
				thickness = fmt.Sprintf("%d.%d cm ± 0.1 cm", mm/10, mm%10)
			}
			var questions []string
			for i, m := range margins {
				if i == bump {
					m++
				}
				margin := fmt.Sprintf("%d s", m)
				if otherUnits {
					margin = fmt.Sprintf("0:%02d", m)
					if m > 59 {
						margin = fmt.Sprintf("1:%02d", m-60)
					}
				}
				questions = append(questions, "  - {"+shuffled(", ", fmt.Sprintf("id: q%d", i), "response: time_to_peak", `margin: "`+margin+`"`, "claim: lower")+"}\n")
			}
			return shuffled(fmt.Sprintf("# remark %d\n", r.IntN(1000)),
				"study: T\n",
				"treatments: ["+shuffled(", ", "{id: a, control: yes}", "{id: b}")+"]\n",
				"questions:\n"+shuffled("", questions...),
				"blocks: {"+shuffled(", ", "what: loin", fmt.Sprintf("count: %d", count), "pieces: 2")+"}\n",
				"controlled: {"+shuffled(", ", "thickness: "+thickness, "start: 5 °C ± 1 °C")+"}\n")
		}
		hash := func(doc string) string {
			s, err := Parse("t", []byte(doc))
			if err != nil {
				t.Fatalf("%v\n%s", err, doc)
			}
			seal, err := SealNow(s, nil, noon)
			if err != nil {
				t.Fatal(err)
			}
			return seal.Hash
		}
		seed := rapid.Uint64().Draw(t, "order")
		one := hash(write(seed, false, -1))
		if other := hash(write(seed+1, true, -1)); other != one {
			t.Fatalf("spelling changed the hash:\n%s\n%s", write(seed, false, -1), write(seed+1, true, -1))
		}
		if other := hash(write(seed, false, rapid.IntRange(0, n-1).Draw(t, "bump"))); other == one {
			t.Fatal("a changed margin kept the hash")
		}
	})
}

func TestSealNeedsItsCookFiles(t *testing.T) {
	s, _ := example(t)
	_, err := SealNow(s, map[string][]byte{"cooks/sear-last.yaml": []byte(cookLast)}, noon)
	if e := fault.As(err); e == nil || e.Code != "cook-file-missing" || e.Value != "cooks/sear-first.yaml" {
		t.Errorf("got %v", err)
	}
	if err := s.ReadCooks(cookFiles); err != nil || s.Treatments[0].Spec["format"] == nil || s.Treatments[1].Spec["legs"] == nil {
		t.Errorf("%v %v", err, s.Treatments)
	}
	if err := s.ReadCooks(nil); fault.As(err) == nil {
		t.Error("missing cook files went unseen")
	}
	seal := sealOf(t, "study: T\n", nil)
	if err := seal.Verify(); err != nil {
		t.Error(err)
	}
	seal.Canonical = bytes.Replace(seal.Canonical, []byte("0.05"), []byte("0.10"), 1)
	if fault.As(seal.Verify()) == nil {
		t.Error("a changed seal verified")
	}
}

// TestSealOfASmallStudy shows what is hashed. The hash was made apart, with
// sha256sum (GNU coreutils 9.1) over the same bytes.
func TestSealOfASmallStudy(t *testing.T) {
	seal := sealOf(t, "study: T\nquestions: [{id: q, response: carryover, margin: 2 K}]\n", nil)
	const canonical = `{"blocks":{"count":0,"pieces":0,"spares":0,"what":""},"claim":{"against":"","fair":"","says":"","scope":""},"controlled":{},"design":{"kind":"","run_order":[],"seed":""},"format":1,"questions":{"q":{"ask":"","blind":false,"claim":"higher","compare":{"against":"","treatment":""},"judged":false,"margin":{"kind":"amount","of":"difference","value":2},"response":"carryover"}},"readings":{},"risk":{"alpha":0.05,"mode":"fixed","power":0.8},"treatments":{},"void":{}}`
	if d := cmp.Diff(canonical, string(seal.Canonical)); d != "" {
		t.Errorf("(-want +got)\n%s", d)
	}
	const hash = "f40af67a349dc11bcf640df1a71a0ebd45fd4bc92c4160c2a9ca6b6337618bec"
	if seal.Hash != hash {
		t.Errorf("hash %s, want %s", seal.Hash, hash)
	}
}

func TestHistoryIsChained(t *testing.T) {
	build := func() []Event {
		var events []Event
		prev := ""
		for i, what := range []string{"study created", "plan sealed", "margin changed", "answer looked at"} {
			e := Chain(prev, Event{Seq: int64(i + 1), At: noon.Add(time.Duration(i) * time.Hour), Study: "s", Kind: EventChanged, What: what})
			events, prev = append(events, e), e.Hash
		}
		return events
	}
	if err := VerifyChain(build()); err != nil {
		t.Fatal(err)
	}
	if err := VerifyChain(nil); err != nil {
		t.Fatal(err)
	}
	for name, tamper := range map[string]func([]Event) []Event{
		"a word":   func(e []Event) []Event { e[1].What = "plan sealed later"; return e },
		"a time":   func(e []Event) []Event { e[2].At = e[2].At.Add(time.Microsecond); return e },
		"a detail": func(e []Event) []Event { e[0].Detail = "{}"; return e },
		"removal":  func(e []Event) []Event { return append(e[:1], e[2:]...) },
		"swap":     func(e []Event) []Event { e[1], e[2] = e[2], e[1]; return e },
		"insertion": func(e []Event) []Event {
			return append(e[:2:2], append([]Event{Chain(e[1].Hash, Event{Seq: 3, At: noon})}, e[2:]...)...)
		},
		"beheading":  func(e []Event) []Event { return e[1:] },
		"empty hash": func(e []Event) []Event { e[3].Hash = ""; return e },
	} {
		if err := fault.As(VerifyChain(tamper(build()))); err == nil || err.Code != "history-broken" {
			t.Errorf("%s went unseen: %v", name, err)
		}
	}
	at := noon.Add(123456789 * time.Nanosecond)
	here, there := Event{Seq: 1, At: at}, Event{Seq: 1, At: at.In(time.FixedZone("", 3600))}
	if Chain("", here).Hash != Chain("", there).Hash {
		t.Error("the zone a time is shown in changed the hash")
	}
}

// TestEverySealedValueCounts changes every value of the example in turn, by
// its document: those of the plan change the hash, all others do not.
func TestEverySealedValueCounts(t *testing.T) {
	_, source := example(t)
	sealed := sealOf(t, string(source), cookFiles)
	top, err := parseTree("sear.yaml", source)
	if err != nil {
		t.Fatal(err)
	}
	places := map[string]string{}
	flatten(top, "", places)
	digits := regexp.MustCompile(`[0-9]+`)
	inSeal := func(place string) bool {
		part, _, _ := strings.Cut(strings.FieldsFunc(place, func(r rune) bool { return r == '.' || r == '[' })[0], " ")
		switch part {
		case "claim", "questions", "treatments", "readings", "blocks", "controlled", "void", "risk", "design":
			return !strings.HasSuffix(place, ".what") || part == "blocks"
		}
		return false
	}
	tried := map[bool]int{}
	for place, value := range places {
		old, isScalar := strings.CutPrefix(value, "=")
		if !isScalar || place == "format" || place == "study" {
			continue
		}
		var next string
		switch {
		case old == "yes" || old == "true":
			next = "no"
		case old == "no" || old == "false":
			next = "yes"
		case old == "lower" || old == "either":
			next = "higher"
		case old == "fixed":
			next = "sequential"
		case digits.MatchString(old):
			at := digits.FindStringIndex(old)
			n, _ := strconv.Atoi(old[at[0]:at[1]])
			next = old[:at[0]] + strconv.Itoa(n+1) + old[at[1]:]
		default:
			next = old + "x"
		}
		d, err := ReadDocument("sear.yaml", source)
		if err != nil {
			t.Fatal(err)
		}
		if err := d.Set(byPlace(place), next); err != nil {
			t.Fatalf("%s: %v", place, err)
		}
		s, err := d.Study()
		if err != nil {
			continue // a name that others point to, a word of a fixed set
		}
		seal, err := SealNow(s, cookFiles, noon)
		if err != nil {
			continue // the path of a cook file
		}
		tried[inSeal(place)]++
		if (seal.Hash != sealed.Hash) != inSeal(place) {
			t.Errorf("%s: %q → %q: sealed %v, hash changed %v", place, old, next, inSeal(place), seal.Hash != sealed.Hash)
		}
	}
	if tried[true] < 50 || tried[false] < 50 {
		t.Errorf("only %v values were tried", tried)
	}
}
