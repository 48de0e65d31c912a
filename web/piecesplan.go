package web

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"trivet/fault"
	"trivet/study"
)

// groupedForm is a form whose fields stand in groups, each with its legend.
type groupedForm struct {
	form
	Groups []fieldGroup
}

type fieldGroup struct {
	Legend string
	Fields []field
}

// measures is the form in which what was measured of many pieces is typed in
// one go; nil where there are none.
func (b formBuilder) measures(pieces []study.Piece, from int) *groupedForm {
	if len(pieces) == 0 {
		return nil
	}
	var flat []field
	for _, x := range pieces {
		p := "pieces[" + x.Label + "]."
		flat = append(flat, b.line(p+"thickness", say("field-thick"), ""), b.line(p+"mass", say("field-raw-mass"), ""), b.line(p+"start", say("field-piece-start"), ""))
	}
	out := &groupedForm{form: b.form("measures", say("measure-pieces"), flat...)}
	out.Hidden = []choice{{"page", "pieces"}, {"stretch", strconv.Itoa(from)}}
	for i, x := range pieces {
		out.Groups = append(out.Groups, fieldGroup{x.Label, out.Fields[3*i : 3*i+3]})
	}
	return out
}

// plannedForm is the form that lists the pieces of the plan, and how many of
// them are not listed yet; "" where the plan does not say or all are.
func (b formBuilder) plannedForm() (form, string) {
	s := b.rec.Study
	f := b.adding("pieces", "from-plan", say("pieces-from-plan"), []choice{{"page", "pieces"}},
		b.line("pieces[plan].prefix", say("field-prefix"), say("field-prefix-hint")), b.pick("pieces[plan].twins", say("field-twins"), say("field-twins-hint"), choices("no", "yes")...))
	f.Hidden[1] = choice{"do", "from-plan"}
	if !f.Open {
		f.Fields[0].Value = blockPrefix
	}
	n := len(plannedPieces(s, blockPrefix, false))
	if s.Blocks.Count < 1 || n == 0 && !f.Open && (hasTwins(s) || !asksTasters(s)) {
		return f, ""
	}
	return f, say("pieces-from-plan-is", count(s.Blocks.Count, "block", "blocks"), count(mainPieces(s), "piece", "pieces"), count(s.Blocks.Spares, "spare", "spares"), n)
}

// blockPrefix is what blocks are called unless somebody says otherwise.
const blockPrefix = "L"

// mainPieces is how many pieces of a block are cooked for the comparison.
func mainPieces(s *study.Study) int { return max(s.Blocks.Pieces, len(s.Treatments)) }

func hasTwins(s *study.Study) bool {
	return slices.ContainsFunc(s.Pieces, func(x study.Piece) bool { return x.Twin != "" })
}

func asksTasters(s *study.Study) bool {
	return slices.ContainsFunc(s.Questions, func(q study.Question) bool { return q.Tasting != nil })
}

// plannedPieces are the pieces that the plan calls for and nobody listed: of
// each block as many as are compared, its spares, and, if asked for, an
// unprobed twin beside each that is compared. Blocks and pieces that the run
// order names or that are listed keep their names.
func plannedPieces(s *study.Study, prefix string, twins bool) []study.Fields {
	type block struct {
		main   []string
		spares int
	}
	var names []string
	blocks, taken, twinned := map[string]*block{}, map[string]bool{}, map[string]bool{}
	at := func(name string) *block {
		if blocks[name] == nil {
			blocks[name] = &block{}
			names = append(names, name)
		}
		return blocks[name]
	}
	for _, x := range s.Pieces {
		taken[x.Label] = true
		switch {
		case x.Twin != "":
			twinned[x.Twin] = true
		case x.Block == "":
		case x.Spare:
			at(x.Block).spares++
		default:
			b := at(x.Block)
			b.main = append(b.main, x.Label)
		}
	}
	isNew := map[string]bool{}
	for _, x := range s.Design.RunOrder {
		if x.Piece != "" && x.Block != "" && !taken[x.Piece] {
			taken[x.Piece], isNew[x.Piece] = true, true
			b := at(x.Block)
			b.main = append(b.main, x.Piece)
		}
	}
	for i := 1; len(names) < s.Blocks.Count; i++ {
		at(fmt.Sprintf("%s%0*d", prefix, max(2, len(fmt.Sprint(s.Blocks.Count))), i))
	}
	slices.Sort(names)
	var out []study.Fields
	for _, name := range names {
		b, letter := blocks[name], 0
		next := func() string {
			for ; ; letter++ {
				if label := name + "-" + lettered(letter); !taken[label] {
					taken[label] = true
					return label
				}
			}
		}
		list := func(label string, more ...study.Field) {
			out = append(out, append(study.Fields{{Key: "label", Value: label}, {Key: "block", Value: name}}, more...))
		}
		slices.Sort(b.main)
		for len(b.main) < mainPieces(s) {
			label := next()
			isNew[label] = true
			b.main = append(b.main, label)
		}
		for _, label := range b.main {
			if isNew[label] {
				list(label)
			}
		}
		for ; b.spares < s.Blocks.Spares; b.spares++ {
			list(next(), study.Field{Key: "spare", Value: true})
		}
		for _, label := range b.main {
			if twin := name + "-t" + strings.TrimPrefix(strings.TrimPrefix(label, name), "-"); twins && !twinned[label] && !taken[twin] {
				taken[twin] = true
				list(twin, study.Field{Key: "twin", Value: label})
			}
		}
	}
	return out
}

// lettered counts a, b, … z, aa, ab, …
func lettered(n int) string {
	text := string(rune('a' + n%26))
	if n >= 26 {
		text = lettered(n/26-1) + text
	}
	return text
}

var soundPrefix = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_-]*$`)

// listPlanned lists the pieces of the plan as a form asks.
func listPlanned(s *study.Study, doc *study.Document, in map[string]string) error {
	prefix := strings.TrimSpace(in["pieces[plan].prefix"])
	if s.Blocks.Count < 1 {
		return fault.New("blocks-none", "%s", say("blocks-none")).WithFix("%s", say("blocks-none-fix"))
	}
	if !soundPrefix.MatchString(prefix) {
		return fault.New("prefix-bad", "%s", say("prefix-bad")).On("pieces[plan].prefix", prefix).WithFix("%s", say("prefix-fix"))
	}
	missing := plannedPieces(s, prefix, in["pieces[plan].twins"] == "yes")
	if len(missing) == 0 {
		return fault.New("pieces-all-listed", "%s", say("pieces-all-listed")).WithFix("%s", say("pieces-all-listed-fix"))
	}
	return listPieces(s, doc, missing)
}

// listPieces adds pieces to the document: the whole list at once where there
// is none yet.
func listPieces(s *study.Study, doc *study.Document, pieces []study.Fields) error {
	if len(s.Pieces) == 0 {
		var all []any
		for _, x := range pieces {
			all = append(all, x)
		}
		return doc.Set("pieces", all)
	}
	for _, x := range pieces {
		if err := doc.Append("pieces", x); err != nil {
			return err
		}
	}
	return nil
}
