package bundle

import (
	"fmt"
	"strings"

	"trivet/bench"
)

// readme describes the package to a person with a spreadsheet.
func readme(rec *bench.Record, resources []Resource, extra Extras) []byte {
	s := rec.Study
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("%s", s.Title)
	line("")
	if s.Invented {
		line("INVENTED DATA. Nobody cooked or tasted what is recorded here.")
		line("")
	}
	if s.Claim.Says != "" {
		line("The claim under test: %s.", strings.TrimRight(s.Claim.Says, "."))
	}
	if s.Claim.Scope != "" {
		line("Scope: %s.", strings.TrimRight(s.Claim.Scope, "."))
	}
	line("")
	line("This folder is a data package of a kitchen experiment. It holds everything the")
	line("published answer rests on. \"trivet answer FOLDER\" answers it again.")
	line("")
	line("FILES")
	line("")
	row := func(name, what string) { line("  %-22s %s", name, what) }
	row("study.yaml", "claim, questions, margins, treatments and plan, as written")
	for path := range rec.CookFiles {
		if strings.Contains(path, "/") {
			row(path[:strings.LastIndexByte(path, '/')+1], "how each treatment is cooked")
			break
		}
	}
	if rec.Seal != nil {
		row("sealed.json", "the plan as it was sealed; its SHA-256 is the seal")
		row("seal.json", "the seal and when it was set (by a clock that can lie)")
	}
	samples := 0
	for _, r := range resources {
		if strings.HasPrefix(r.Path, "samples/") {
			samples++
			continue
		}
		row(r.Path, firstSentence(r.Description, r.Title))
		if r.Path == photoTable.path() {
			row("photos/", "the photos, without place, camera or anything else but their pixels")
		}
	}
	if samples > 0 {
		row("samples/", fmt.Sprintf("%d tables of sensor samples; channels.csv says which column is what", samples))
		row("raw/", "the logs exactly as they came")
	}
	if extra.Findings != nil {
		row("findings.json", "the answers with their evidence")
	}
	row("datapackage.json", "every table's columns, types and units, for programs")
	row(manifestPath, "checksums: sha256sum -c "+manifestPath)
	row("CITATION.cff", "how to cite this")
	line("")
	line("READING THE TABLES")
	line("")
	line("The tables are CSV in UTF-8 with commas and decimal points, and open in any")
	line("spreadsheet. Rows of one cook share its label in the column \"cook\" and its id in")
	line("\"cook_id\". Masses are in grams. Times called _us are microseconds: in marks.csv,")
	line("weighings.csv and deviations.csv from heat on, negative before it; in samples from")
	line("1970-01-01 UTC or from the start of the log. The column t_s of the samples is")
	line("seconds from heat on. Samples are in the unit and with the decimals of their")
	line("source; offset_k of channels.csv is not yet subtracted. An empty cell among the")
	line("samples is a sample without a value.")
	line("")
	line("A text that begins with = + - @ ' or a tab has an apostrophe put in front, so that")
	line("no spreadsheet takes it for a formula. Take one apostrophe away to have the text.")
	line("Numbers are never changed. A spreadsheet that saves over a table changes it, and")
	line("its checksum will say so: work on a copy.")
	line("")
	line("Whether something was juicy, only tasters can say: a loss is a mass. Nothing in")
	line("this package says that a food was safe to eat.")
	line("")
	if s.Licence != "" {
		line("Licence of the data: %s.", s.Licence)
	} else {
		line("No licence of the data is stated: ask the authors before you use them further.")
	}
	return []byte(b.String())
}

// firstSentence is the first sentence of a description without its stop.
func firstSentence(description, title string) string {
	if s, _, ok := strings.Cut(description, ". "); ok {
		description = s
	}
	if description = strings.TrimSuffix(description, "."); description == "" {
		return title
	}
	if i := strings.Index(description, ": "); i > 0 && len(description) > 70 {
		description = description[:i]
	}
	return strings.ToLower(description[:1]) + description[1:]
}

// citation is CITATION.cff 1.2.0 (https://citation-file-format.github.io).
// The standard wants an author; an unnamed one is told as such.
func citation(rec *bench.Record) []byte {
	s := rec.Study
	var b strings.Builder
	b.WriteString("cff-version: 1.2.0\nmessage: \"If you use these data, please cite them as below.\"\ntype: dataset\n")
	title := s.Title
	if s.Invented {
		title += " (invented data)"
	}
	fmt.Fprintf(&b, "title: %s\nauthors:\n", yamlText(title))
	if len(s.Authors) == 0 {
		b.WriteString("  - name: \"not named\"\n")
	}
	for _, a := range s.Authors {
		fmt.Fprintf(&b, "  - name: %s\n", yamlText(a))
	}
	if s.Licence != "" {
		fmt.Fprintf(&b, "license: %s\n", yamlText(s.Licence))
	}
	if !rec.Updated.IsZero() {
		fmt.Fprintf(&b, "date-released: \"%s\"\n", rec.Updated.Format("2006-01-02"))
	}
	if s.Claim.Says != "" {
		fmt.Fprintf(&b, "abstract: %s\n", yamlText("The claim under test: "+s.Claim.Says))
	}
	if rec.Seal != nil {
		fmt.Fprintf(&b, "identifiers:\n  - type: other\n    value: %s\n    description: \"SHA-256 of the sealed plan\"\n", yamlText("sha256:"+rec.Seal.Hash))
	}
	return []byte(b.String())
}

// yamlText writes a text as a double-quoted YAML scalar, of which a JSON
// string is a special case (YAML 1.2 §7.3.1).
func yamlText(s string) string {
	b, err := marshalJSON(s)
	if err != nil {
		return `""`
	}
	return strings.TrimSpace(string(b))
}
