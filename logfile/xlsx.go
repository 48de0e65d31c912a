package logfile

import (
	"archive/zip"
	"bufio"
	"encoding/xml"
	"errors"
	"io"
	"path"
	"strconv"
	"strings"

	"trivet/fault"
)

// xlsxBook is an XLSX workbook (ECMA-376, Office Open XML, part 1, sections
// 18.2 to 18.4, and part 2, section 9.3 for how its parts find each other).
// It is read strictly: a sheet that ends early, a shared text that is not
// there or a cell that comes twice is an error, never a shorter log.
type xlsxBook struct {
	z       *zip.Reader
	most    int64 // bytes of one part
	sheets  []xlsxSheet
	texts   []string // shared
	from904 bool     // days count from 1904
}

type xlsxSheet struct{ name, part string }

// open opens a part of the archive, whatever the capitals: names are
// compared so (part 2, section 9.1).
func (b *xlsxBook) open(part string) (io.ReadCloser, error) {
	part = strings.TrimPrefix(part, "/")
	for _, f := range b.z.File {
		if strings.EqualFold(strings.ReplaceAll(f.Name, `\`, "/"), part) {
			return f.Open()
		}
	}
	return nil, errNoPart
}

var errNoPart = errors.New("a part of the workbook is missing")

// elements hands every start element of a part to f, which may read on to the
// end of it. The whole part is read, so that one that ends early is found out.
func (b *xlsxBook) elements(part string, f func(d *xml.Decoder, e xml.StartElement) error) error {
	r, err := b.open(part)
	if err != nil {
		return err
	}
	defer r.Close()
	d := xml.NewDecoder(bufio.NewReaderSize(&bounded{r: r, left: b.most, most: b.most}, 64<<10))
	for {
		t, err := d.Token()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if e, ok := t.(xml.StartElement); ok {
			if err := f(d, e); err != nil {
				return err
			}
		}
	}
}

func xmlAttr(e xml.StartElement, local string) string {
	for _, a := range e.Attr {
		if a.Name.Local == local {
			return a.Value
		}
	}
	return ""
}

// openXLSX finds the sheets of a workbook and reads its shared texts.
func openXLSX(z *zip.Reader, most int64) (*xlsxBook, error) {
	b := &xlsxBook{z: z, most: most}
	main := "xl/workbook.xml"
	err := b.targets("_rels/.rels", "", func(_, kind, target string) {
		if strings.HasSuffix(kind, "/officeDocument") {
			main = target
		}
	})
	if err != nil && !errors.Is(err, errNoPart) {
		return nil, err
	}
	dir := path.Dir(main)
	parts, shared := map[string]string{}, ""
	if err = b.targets(dir+"/_rels/"+path.Base(main)+".rels", dir, func(id, kind, target string) {
		switch {
		case strings.HasSuffix(kind, "/worksheet"):
			parts[id] = target
		case strings.HasSuffix(kind, "/sharedStrings"):
			shared = target
		}
	}); err != nil {
		return nil, err
	}
	err = b.elements(main, func(_ *xml.Decoder, e xml.StartElement) error {
		switch e.Name.Local {
		case "workbookPr":
			v := xmlAttr(e, "date1904")
			b.from904 = v == "1" || v == "true"
		case "sheet":
			for _, a := range e.Attr {
				if part := parts[a.Value]; a.Name.Local == "id" && part != "" {
					b.sheets = append(b.sheets, xlsxSheet{xmlAttr(e, "name"), part})
				}
			}
		}
		return nil
	})
	if err != nil || shared == "" {
		return b, err
	}
	return b, b.elements(shared, func(d *xml.Decoder, e xml.StartElement) error {
		if e.Name.Local != "si" {
			return nil
		}
		text, err := xlsxText(d)
		b.texts = append(b.texts, text)
		return err
	})
}

// targets reads a list of relationships.
func (b *xlsxBook) targets(part, dir string, f func(id, kind, target string)) error {
	return b.elements(part, func(_ *xml.Decoder, e xml.StartElement) error {
		if e.Name.Local == "Relationship" && xmlAttr(e, "TargetMode") != "External" {
			target := xmlAttr(e, "Target")
			if !strings.HasPrefix(target, "/") {
				target = path.Join(dir, target)
			}
			f(xmlAttr(e, "Id"), xmlAttr(e, "Type"), strings.TrimPrefix(target, "/"))
		}
		return nil
	})
}

// xlsxText gathers the runs of a text up to the end of its element; how it is
// pronounced (rPh) is left out.
func xlsxText(d *xml.Decoder) (string, error) {
	var b strings.Builder
	inText := 0
	for depth := 1; depth > 0; {
		t, err := d.Token()
		if err != nil {
			return "", err
		}
		switch e := t.(type) {
		case xml.StartElement:
			if e.Name.Local == "rPh" {
				if err := d.Skip(); err != nil {
					return "", err
				}
				continue
			}
			depth++
			if e.Name.Local == "t" {
				inText++
			}
		case xml.EndElement:
			depth--
			if e.Name.Local == "t" {
				inText--
			}
		case xml.CharData:
			if inText > 0 && b.Len() < 1<<16 {
				b.Write(e)
			}
		}
	}
	return b.String(), nil
}

// rows hands the rows of a sheet that have cells to f, which may keep nothing
// of them; f tells whether it wants more.
func (b *xlsxBook) rows(s xlsxSheet, mostColumns int, f func(row int, cells []string) (more bool, err error)) error {
	row, lastCol, stop := 0, 0, false
	var cells []string
	end := func() error {
		for len(cells) > 0 && cells[len(cells)-1] == "" {
			cells = cells[:len(cells)-1]
		}
		if len(cells) == 0 || stop {
			return nil
		}
		more, err := f(row, cells)
		stop = !more
		return err
	}
	err := b.elements(s.part, func(d *xml.Decoder, e xml.StartElement) error {
		switch e.Name.Local {
		case "row":
			if err := end(); err != nil {
				return err
			}
			cells, lastCol = cells[:0], 0
			last := row
			row++
			if r := xmlAttr(e, "r"); r != "" {
				n, err := strconv.Atoi(r)
				if err != nil || n <= last {
					return fault.New("log-workbook", "row %q of sheet %q comes after row %d", r, s.name, last).WithFix("save the sheet as CSV")
				}
				row = n
			}
		case "c":
			col, ref := lastCol+1, xmlAttr(e, "r")
			if ref != "" {
				n, ok := cellColumn(ref)
				if !ok || n <= lastCol {
					return fault.New("log-workbook", "cell %q of sheet %q is out of place", ref, s.name).WithFix("save the sheet as CSV")
				}
				col = n
			}
			text, err := b.cell(d, e)
			if err != nil {
				if x := fault.As(err); x != nil {
					return x.On("cell", ref)
				}
				return err
			}
			lastCol = col
			if text == "" {
				return nil
			}
			if col > mostColumns {
				return fault.New("log-columns", "sheet %q has a cell in column %d, at most %d are read", s.name, col, mostColumns)
			}
			for len(cells) < col-1 {
				cells = append(cells, "")
			}
			cells = append(cells, text)
		}
		return nil
	})
	if err != nil {
		return err
	}
	return end()
}

// cellColumn is the column of a reference such as "AB12", from 1.
func cellColumn(ref string) (int, bool) {
	n, i := 0, 0
	for ; i < len(ref); i++ {
		c := ref[i] &^ 0x20
		if c < 'A' || c > 'Z' {
			break
		}
		if n = n*26 + int(c-'A') + 1; n > 1<<20 {
			return 0, false
		}
	}
	return n, n > 0 && i < len(ref)
}

// cell reads a cell up to its end: numbers to 15 digits, as spreadsheets show
// them (21.300000000000001 in the file is 21.3 in the sheet), days as numbers,
// truth values and errors as what the sheet shows.
func (b *xlsxBook) cell(d *xml.Decoder, e xml.StartElement) (string, error) {
	var value strings.Builder
	inline, inValue := "", false
	for depth := 1; depth > 0; {
		t, err := d.Token()
		if err != nil {
			return "", err
		}
		switch x := t.(type) {
		case xml.StartElement:
			if x.Name.Local == "is" {
				if inline, err = xlsxText(d); err != nil {
					return "", err
				}
				continue
			}
			depth++
			inValue = x.Name.Local == "v"
		case xml.EndElement:
			depth--
			inValue = false
		case xml.CharData:
			if inValue && value.Len() < 1<<16 {
				value.Write(x)
			}
		}
	}
	v := value.String()
	switch xmlAttr(e, "t") {
	case "s":
		i, err := strconv.Atoi(strings.TrimSpace(v))
		if err != nil || i < 0 || i >= len(b.texts) {
			return "", fault.New("log-workbook", "the cell points to the shared text %q, and the workbook has %d", v, len(b.texts)).WithFix("save the sheet as CSV")
		}
		return b.texts[i], nil
	case "inlineStr":
		return inline, nil
	case "b":
		switch v {
		case "1", "true":
			return "TRUE", nil
		case "0", "false":
			return "FALSE", nil
		}
		return v, nil
	case "d":
		return strings.Replace(v, "T", " ", 1), nil
	case "str", "e":
		return v, nil
	}
	if x, err := strconv.ParseFloat(v, 64); err == nil && len(v) > 15 {
		return strconv.FormatFloat(x, 'g', 15, 64), nil
	}
	return v, nil
}
