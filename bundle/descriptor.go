package bundle

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"maps"
	"slices"
	"time"

	"trivet/bench"
)

// FormatVersion is the version of the package layout read and written here. A
// record without corrected clocks is written as formatWithoutClocks, which
// says the same of it.
const (
	FormatVersion       = 2
	formatWithoutClocks = 1
)

// Descriptor is datapackage.json: Frictionless Data Package v1 with the
// profile tabular-data-package (https://specs.frictionlessdata.io, version
// 1.0: Data Package, Tabular Data Package, Tabular Data Resource, Table
// Schema, CSV Dialect). "trivet" is an addition, which the standard allows.
type Descriptor struct {
	Profile      string        `json:"profile"`
	Name         string        `json:"name"`
	Title        string        `json:"title,omitempty"`
	Description  string        `json:"description,omitempty"`
	Created      string        `json:"created,omitempty"`
	Keywords     []string      `json:"keywords,omitempty"`
	Licenses     []License     `json:"licenses,omitempty"`
	Contributors []Contributor `json:"contributors,omitempty"`
	Sources      []Source      `json:"sources,omitempty"`
	Trivet       About         `json:"trivet"`
	Resources    []Resource    `json:"resources"`
}

// About is what the standard has no place for.
type About struct {
	Format      int    `json:"format"`       // of this layout
	StudyFormat int    `json:"study_format"` // of study.yaml
	Study       string `json:"study"`        // id
	Created     string `json:"created,omitempty"`
	Updated     string `json:"updated,omitempty"`
	Sealed      bool   `json:"sealed"`
	Invented    bool   `json:"invented,omitempty"`
	// CookFiles are the paths of the cook files.
	CookFiles []string `json:"cook_files"`
}

// License of the data.
type License struct {
	Name  string `json:"name"` // SPDX id
	Path  string `json:"path,omitempty"`
	Title string `json:"title,omitempty"`
}

// Contributor of the data.
type Contributor struct {
	Title string `json:"title"`
	Role  string `json:"role,omitempty"`
}

// Source the data came from.
type Source struct {
	Title string `json:"title"`
	Path  string `json:"path,omitempty"`
}

// Resource describes one CSV file.
type Resource struct {
	Name        string  `json:"name"`
	Path        string  `json:"path"`
	Profile     string  `json:"profile"`
	Title       string  `json:"title,omitempty"`
	Description string  `json:"description,omitempty"`
	Format      string  `json:"format"`
	MediaType   string  `json:"mediatype"`
	Encoding    string  `json:"encoding"`
	Bytes       int     `json:"bytes"`
	Hash        string  `json:"hash"` // "sha256:" and hex
	Dialect     Dialect `json:"dialect"`
	Schema      Schema  `json:"schema"`
}

// Dialect of a CSV file: RFC 4180.
type Dialect struct {
	Delimiter        string `json:"delimiter"`
	LineTerminator   string `json:"lineTerminator"`
	QuoteChar        string `json:"quoteChar"`
	DoubleQuote      bool   `json:"doubleQuote"`
	SkipInitialSpace bool   `json:"skipInitialSpace"`
	Header           bool   `json:"header"`
}

// Schema of a table.
type Schema struct {
	Fields        []Field      `json:"fields"`
	MissingValues []string     `json:"missingValues"`
	PrimaryKey    []string     `json:"primaryKey,omitempty"`
	ForeignKeys   []ForeignKey `json:"foreignKeys,omitempty"`
}

// ForeignKey says that columns hold the key of another table.
type ForeignKey struct {
	Fields    []string  `json:"fields"`
	Reference Reference `json:"reference"`
}

// Reference is what a foreign key points to.
type Reference struct {
	Resource string   `json:"resource"`
	Fields   []string `json:"fields"`
}

// to declares a foreign key of one column.
func to(field, resource, reference string) ForeignKey {
	return ForeignKey{[]string{field}, Reference{resource, []string{reference}}}
}

func newResource(name, path, title, about string, schema Schema, size int, sum string) Resource {
	return Resource{
		Name: name, Path: path, Profile: "tabular-data-resource", Title: title, Description: about,
		Format: "csv", MediaType: "text/csv", Encoding: "utf-8", Bytes: size, Hash: "sha256:" + sum,
		Dialect: Dialect{Delimiter: ",", LineTerminator: "\r\n", QuoteChar: `"`, DoubleQuote: true, Header: true},
		Schema:  schema,
	}
}

func hashOf(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// describe builds the descriptor of a record whose tables are resources.
func describe(rec *bench.Record, resources []Resource) Descriptor {
	s := rec.Study
	d := Descriptor{
		Profile: "tabular-data-package", Name: s.ID, Title: s.Title, Description: s.Claim.Says,
		Keywords: []string{"cooking", "experiment"},
		Trivet: About{
			Format: formatOf(rec.Cooks), StudyFormat: s.Format, Study: s.ID, Sealed: rec.Seal != nil, Invented: s.Invented,
			Created: formatTime(rec.Created), Updated: formatTime(rec.Updated),
			CookFiles: append([]string{}, slices.Sorted(maps.Keys(rec.CookFiles))...),
		},
		Resources: resources,
	}
	if !rec.Created.IsZero() {
		d.Created = rec.Created.UTC().Format(time.RFC3339)
	}
	if s.Invented {
		d.Keywords = append(d.Keywords, "invented data")
		d.Description = "Invented data. " + d.Description
	}
	if s.Licence != "" {
		d.Licenses = []License{{Name: s.Licence, Path: "https://spdx.org/licenses/" + s.Licence + ".html"}}
	}
	for _, a := range s.Authors {
		d.Contributors = append(d.Contributors, Contributor{Title: a, Role: "author"})
	}
	for _, l := range s.Lots {
		title := l.ID + ": " + l.What
		if l.Bought != "" {
			title += ", bought " + l.Bought
		}
		d.Sources = append(d.Sources, Source{Title: title})
	}
	return d
}

// marshalJSON writes JSON for people: indented, without escaping < and >.
func marshalJSON(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	err := e.Encode(v)
	return b.Bytes(), err
}
