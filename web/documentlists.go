package web

import (
	"bytes"
	"slices"
	"strconv"
	"strings"

	"trivet/bench"
	"trivet/fault"
	"trivet/study"
)

// Readings, instruments and lots are lists of the study document whose forms
// differ in their fields alone. Each says in a [documentList] what its fields
// are; what follows reads them from the document as they were written, and
// writes what was typed by the document's own checked edits.

// documentList is a list of the study document that is changed by forms.
type documentList struct {
	Name       string // its key in the document
	One        string // what an entry is called in ids and in the catalogue: "reading"
	Part, Page string // where its forms stand; Page "" is the study's own
	Fields     []listField
	Find       func(s *study.Study, id string) any // nil where there is none
	Says       func(s *study.Study, id string) string
	NamedBy    string // the field that a new entry's id is made from; "" asks for the id
	UsedBy     func(rec *bench.Record, id string) string
	// Keeps tells why a field of an entry cannot be changed any more; nil
	// lets it be.
	Keeps func(rec *bench.Record, id, field string) error
	// Means is what a change of an entry means for a sealed plan; "" is
	// nothing.
	Means func(rec *bench.Record, id string) string
	// Strays are faults that the document tells of a whole entry, by the
	// field of the form that mends them.
	Strays map[fault.Code]string
}

// writtenAs is how a field stands in the document.
type writtenAs int

const (
	asWords   writtenAs = iota
	asYesNo             // yes or no, no where nothing is written
	asNumber            // a number without a unit
	asNumbers           // several of them, between semicolons
	asAmount            // a number and its unit
	asAmounts           // one amount or several, between semicolons
	asList              // several words, between commas, or semicolons where a word has a comma
)

// listField is a field of the entries of a list.
type listField struct {
	Key     string // "ice", "stem.length"
	As      writtenAs
	Area    bool
	Default string               // what nothing written stands for
	Options []string             // of a select; their names are in the catalogue, or they stand for themselves
	Bare    func(u units) string // the unit of a bare number
}

// documentLists are the lists that this page knows, by their key.
var documentLists = map[string]*documentList{}

// word is a sentence of the catalogue of this list.
func (l *documentList) word(what string, args ...any) string {
	return say("list-"+l.One+"-"+what, args...)
}

func (l *documentList) hasWord(what string) bool {
	_, ok := english["list-"+l.One+"-"+what]
	return ok
}

func (l *documentList) field(key string) (listField, bool) {
	i := slices.IndexFunc(l.Fields, func(f listField) bool { return f.Key == key })
	if i < 0 {
		return listField{}, false
	}
	return l.Fields[i], true
}

// listOf takes the path of a field of one of these lists apart.
func listOf(path string) (l *documentList, id string, f listField, ok bool) {
	name, _, _ := strings.Cut(path, "[")
	if l = documentLists[name]; l == nil {
		return nil, "", f, false
	}
	id, key, ok := entryOf(path, name)
	if !ok {
		return nil, "", f, false
	}
	f, ok = l.field(key)
	return l, id, f, ok
}

// valueOf is a field of the study as a form shows it: of these lists as it was
// written, of all others as it was understood.
func valueOf(rec *bench.Record, path string) (string, bool) {
	l, id, f, ok := listOf(path)
	switch {
	case path == "utc_offset":
		return clockOffset(rec), true
	case !ok:
		return fieldValue(rec.Study, path)
	case l.Find(rec.Study, id) == nil:
		return f.Default, false
	}
	return f.shown(writtenAt(rec.Document, l.Name, path)), true
}

// writtenAt reads what stands at a path below a top key. The lines of that key
// are read alone, so that a form costs no reading of thousands of pieces.
func writtenAt(document []byte, key, path string) []string {
	if !bytes.Contains(document, []byte(key)) {
		return nil
	}
	for _, text := range [][]byte{linesOf(document, key), document} {
		if len(text) == 0 {
			continue
		}
		doc, err := study.ReadDocument("study.yaml", text)
		if err != nil {
			continue
		}
		if got, ok := doc.Written(path); ok {
			return got
		}
	}
	return nil
}

// linesOf are the lines of a top key of a document and of what is below it;
// none where it does not begin a line.
func linesOf(document []byte, key string) []byte {
	from := 0
	if !bytes.HasPrefix(document, []byte(key+":")) {
		if from = bytes.Index(document, []byte("\n"+key+":")) + 1; from == 0 {
			return nil
		}
	}
	to := from
	for line := range bytes.Lines(document[from:]) {
		if to > from && !bytes.ContainsRune([]byte(" \t#-]}\r\n"), rune(line[0])) {
			break
		}
		to += len(line)
	}
	return document[from:to]
}

// shown is what was written as a form holds it.
func (f listField) shown(text []string) string {
	if len(text) == 0 || len(text) == 1 && text[0] == "" {
		if f.As == asYesNo {
			return "no"
		}
		return f.Default
	}
	switch f.As {
	case asYesNo:
		yes := slices.Contains([]string{"yes", "true"}, strings.ToLower(text[0]))
		return yesNo(yes)
	case asAmounts, asNumbers:
		return strings.Join(text, "; ")
	case asList:
		if slices.ContainsFunc(text, func(s string) bool { return strings.Contains(s, ",") }) {
			return strings.Join(text, "; ")
		}
		return strings.Join(text, ", ")
	}
	return text[0]
}

// read is what a form's text becomes in the document; nil is nothing.
func (f listField) read(text string, u units) any {
	text = strings.TrimSpace(text)
	if text == "" {
		return nil
	}
	switch f.As {
	case asYesNo:
		return text == "yes"
	case asNumber:
		return numberOr(text)
	case asNumbers:
		var all []any
		for _, x := range parted(text, ";") {
			all = append(all, numberOr(x))
		}
		return all
	case asAmount:
		return withUnit(text, f.Bare(u))
	case asAmounts:
		all := parted(text, ";")
		for i := range all {
			all[i] = withUnit(all[i], f.Bare(u))
		}
		if len(all) != 1 {
			return all
		}
		return all[0]
	case asList:
		if strings.Contains(text, ";") {
			return parted(text, ";")
		}
		return parted(text, ",")
	}
	return text
}

// numberOr is the number that a text is, or else the text.
func numberOr(text string) any {
	if v, err := strconv.ParseFloat(strings.Replace(text, "−", "-", 1), 64); err == nil && finite(v) {
		return v
	}
	return text
}

// withUnit puts a unit behind a bare number.
func withUnit(text, unit string) string {
	text = strings.TrimSpace(text)
	if _, err := strconv.ParseFloat(strings.Replace(text, "−", "-", 1), 64); err == nil {
		return text + " " + unit
	}
	return text
}

// put writes a field of the study document as it was typed. What was emptied
// in one of these lists is taken out.
func put(doc *study.Document, path, typed string, u units) error {
	_, _, f, ok := listOf(path)
	switch {
	case !ok && strings.TrimSpace(typed) == "" && mayGo(path):
		return takeOut(doc, path)
	case !ok:
		return doc.Set(path, typedValue(path, u.completed(path, typed)))
	}
	if v := f.read(typed, u); v != nil {
		return doc.Set(path, v)
	}
	return takeOut(doc, path)
}

// takeOut removes a key, and the group that it was the last of. A key that
// cannot be removed without touching others is left empty.
func takeOut(doc *study.Document, path string) error {
	f := fault.As(doc.Remove(path))
	switch {
	case f == nil, f.Code == "edit-path":
		return nil
	case f.Code == "edit-last" && strings.Contains(path, "."):
		return takeOut(doc, path[:strings.LastIndex(path, ".")])
	}
	return doc.Set(path, nil)
}

// addTo adds an entry to one of these lists from its form, and tells where it
// stands on the page.
func (l *documentList) addTo(rec *bench.Record, doc *study.Document, in map[string]string, u units) (string, error) {
	at := l.Name + "[new]."
	typed := func(key string) string { return strings.TrimSpace(in[at+key]) }
	id := typed("id")
	if id == "" && l.NamedBy != "" {
		if id = firstWords(typed(l.NamedBy)); id != "" {
			id = freeID(rec.Study, l.Name, id)
		}
	}
	if id == "" {
		field := l.NamedBy
		if field == "" {
			field = "id"
		}
		return "", fault.New(fault.Code(l.One+"-empty"), "%s", l.word("empty")).On(at+field, typed(field)).WithFix("%s", l.word("empty-fix"))
	}
	if l.Find(rec.Study, id) != nil {
		return "", fault.New(fault.Code(l.One+"-taken"), "%s", l.word("taken")).On(at+"id", id).WithFix("%s", say("name-taken-fix"))
	}
	entry := study.Fields{{Key: "id", Value: id}}
	for _, f := range l.Fields {
		text := typed(f.Key)
		if text == "" || text == f.Default || f.As == asYesNo && text != "yes" {
			continue
		}
		group, key, nested := strings.Cut(f.Key, ".")
		if !nested {
			entry = append(entry, study.Field{Key: f.Key, Value: f.read(text, u)})
			continue
		}
		i := slices.IndexFunc(entry, func(x study.Field) bool { return x.Key == group })
		if i < 0 {
			i = len(entry)
			entry = append(entry, study.Field{Key: group, Value: study.Fields{}})
		}
		entry[i].Value = append(entry[i].Value.(study.Fields), study.Field{Key: key, Value: f.read(text, u)})
	}
	return l.One + "-" + id, doc.Append(l.Name, entry)
}

// fieldsOf are the fields of an entry's form; "new" is the form of another.
func (b formBuilder) fieldsOf(l *documentList, id string, keys ...string) []field {
	var out []field
	for _, key := range keys {
		path := l.Name + "[" + id + "]." + key
		hint := ""
		if l.hasWord("f-" + key + "-is") {
			hint = l.word("f-" + key + "-is")
		}
		f, known := l.field(key)
		switch {
		case !known: // the id of a new entry
			out = append(out, b.line(path, l.word("f-"+key), hint))
		case f.As == asYesNo:
			out = append(out, b.pick(path, l.word("f-"+key), hint, choices("no", "yes")...))
		case f.Options != nil:
			out = append(out, b.pick(path, l.word("f-"+key), hint, l.options(b.rec, path, f)...))
		case f.Area:
			out = append(out, b.area(path, l.word("f-"+key), hint))
		default:
			out = append(out, b.line(path, l.word("f-"+key), hint))
		}
	}
	return out
}

// options are those of a select, with what is written where it is none of them.
func (l *documentList) options(rec *bench.Record, path string, f listField) []choice {
	all := slices.Clone(f.Options)
	if now, _ := valueOf(rec, path); !slices.Contains(all, now) {
		all = append(all, now)
	}
	var out []choice
	for _, x := range all {
		name := x
		if l.hasWord("o-" + x) {
			name = l.word("o-" + x)
		} else if x == "" {
			name = say("not-said")
		}
		out = append(out, choice{x, name})
	}
	return out
}

// entryOf builds the form of some fields of an entry. part tells several forms
// of one entry apart.
func (b formBuilder) listEntry(l *documentList, id, part, summary string, keys ...string) form {
	name := l.One + "-" + id
	if part != "" {
		name += "-" + part
	}
	f := b.form(name, summary, b.fieldsOf(l, id, keys...)...)
	b.finish(l, id, &f)
	return f
}

// newEntry builds the form that adds an entry.
func (b formBuilder) newEntry(l *documentList, keys ...string) form {
	f := b.adding(l.Name, "new-"+l.One, l.word("add"), nil, b.fieldsOf(l, "new", keys...)...)
	b.finish(l, "", &f)
	for i := range f.Fields {
		x := &f.Fields[i]
		if _, typed := b.at.In[x.Path]; typed && f.Open {
			continue
		}
		if _, _, lf, ok := listOf(x.Path); ok {
			x.Value = lf.shown(nil)
		}
	}
	return f
}

// finish puts on a form what it says before saving and where it is shown.
func (b formBuilder) finish(l *documentList, id string, f *form) {
	f.Sealed, f.Try = false, b.trialAt()
	if l.Means != nil {
		f.Means = l.Means(b.rec, id)
	}
	if l.Page != "" {
		f.Hidden = append(f.Hidden, choice{"page", l.Page})
	}
}

// forms are an entry's removal beside its forms.
func (b formBuilder) listRemoval(l *documentList, id string) removal {
	x := b.removal(l.Name, id, l.word("remove", id), say("remove-is"))
	x.Sealed, x.Page = false, l.Page
	if l.Means != nil {
		x.Means = l.Means(b.rec, id)
	}
	return x
}

// onField puts a fault that the document tells of a whole entry on the field
// that mends it, in the words of the form.
func onField(f *fault.Error) *fault.Error {
	name, rest, ok := strings.Cut(f.Field, "[")
	l := documentLists[name]
	if !ok || l == nil {
		return f
	}
	key, known := l.Strays[f.Code]
	if !known {
		return f
	}
	id, _, _ := strings.Cut(rest, "]")
	told := *f
	told.Field = name + "[" + id + "]." + key
	told.Message, told.Fix = l.word(string(f.Code)), l.word(string(f.Code)+"-fix")
	return &told
}

// rewritten is a change of entries of these lists in words, and the part of
// the page it stands in; "" where other fields were changed too.
func rewritten(before *bench.Record, doc *study.Document, paths []string) (what, part string) {
	var parts []string
	var of *documentList
	entry := ""
	for _, p := range paths {
		l, id, f, ok := listOf(p)
		if !ok || of != nil && (of != l || entry != id) {
			return "", ""
		}
		of, entry = l, id
		was, _ := valueOf(before, p)
		is := f.shown(writtenAt(doc.Bytes(), l.Name, p))
		label := strings.TrimSuffix(l.word("f-"+f.Key), "?")
		parts = append(parts, say("field-rewritten", label, orNothing(was), orNothing(is)))
	}
	if of == nil {
		return "", ""
	}
	return say("entry-rewritten", of.word("one"), entry, strings.Join(parts, "; ")), of.Part
}

func orNothing(text string) string {
	if text == "" {
		return say("nothing")
	}
	return "“" + text + "”"
}

// partOfList is the part of the page in which a list stands; "" for what is
// none.
func partOfList(list string) string {
	if l := documentLists[list]; l != nil {
		return l.Part
	}
	return partsOf[list]
}
