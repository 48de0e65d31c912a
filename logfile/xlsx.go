package logfile

import (
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
	*archive
	sheets  []xlsxSheet
	texts   texts
	from904 bool // days count from 1904
}

type xlsxSheet struct{ name, part string }

// elements hands every start element of a part to f, which may read on to the
// end of it. The whole part is read, so that one that ends early is found out.
func (b *xlsxBook) elements(part string, f func(d *xmlReader, e xml.StartElement) error) error {
	d, err := b.xml(part)
	if err != nil {
		return err
	}
	defer d.Close()
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

// openXLSX finds the sheets of a workbook and reads its shared texts. The
// caller closes them.
func openXLSX(z *archive, scratch func() (Scratch, error)) (*xlsxBook, error) {
	b := &xlsxBook{archive: z, texts: texts{scratch: scratch}}
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
	err = b.elements(main, func(_ *xmlReader, e xml.StartElement) error {
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
	if err = b.elements(shared, func(d *xmlReader, e xml.StartElement) error {
		if e.Name.Local != "si" {
			return nil
		}
		text, err := xlsxText(d)
		if err != nil {
			return err
		}
		return b.texts.add(text)
	}); err == nil {
		err = b.texts.seal()
	}
	if err != nil {
		b.texts.close()
	}
	return b, err
}

// targets reads a list of relationships.
func (b *xlsxBook) targets(part, dir string, f func(id, kind, target string)) error {
	return b.elements(part, func(_ *xmlReader, e xml.StartElement) error {
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
func xlsxText(d *xmlReader) (string, error) {
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
			if inText > 0 {
				b.Write(e)
			}
			if b.Len() > mostCellBytes {
				return "", longCell()
			}
		}
	}
	return b.String(), nil
}

// rows hands the rows of a sheet that have cells to f, which may keep nothing
// of them; f tells whether it wants more.
func (b *xlsxBook) rows(s xlsxSheet, limits Limits, f func(row int, cells []string) (more bool, err error)) error {
	row, lastCol, size, stop := 0, 0, 0, false
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
	err := b.elements(s.part, func(d *xmlReader, e xml.StartElement) error {
		switch e.Name.Local {
		case "row":
			if err := end(); err != nil {
				return err
			}
			cells, lastCol, size = cells[:0], 0, 0
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
			if col > limits.MaxColumns {
				return fault.New("log-columns", "sheet %q has a cell in column %d, at most %d are read", s.name, col, limits.MaxColumns)
			}
			if size += len(text); size > limits.MaxLine {
				return longRow(s.name, row, limits.MaxLine)
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

func longRow(sheet string, row, most int) error {
	return fault.New("log-line", "row %d of sheet %q holds more than %d bytes", row, sheet, most).WithFix("save the sheet as CSV without its long texts")
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

// cell reads a cell up to its end: numbers by sheetNumber, days as numbers,
// truth values and errors as what the sheet shows.
func (b *xlsxBook) cell(d *xmlReader, e xml.StartElement) (string, error) {
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
			if inValue {
				value.Write(x)
			}
			if value.Len() > mostCellBytes {
				return "", longCell()
			}
		}
	}
	v := value.String()
	switch xmlAttr(e, "t") {
	case "s":
		i, err := strconv.Atoi(strings.TrimSpace(v))
		if err != nil || i < 0 || i >= b.texts.n {
			return "", fault.New("log-workbook", "the cell points to the shared text %q, and the workbook has %d", v, b.texts.n).WithFix("save the sheet as CSV")
		}
		return b.texts.at(i)
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
	return sheetNumber(v), nil
}

// sheetNumber is a number as it was meant: 15 digits, as spreadsheets show
// them, where that leaves out what binary sums add (5.3000000000000007 is
// 5.3), all that the file tells where it does not, as of a date with its time.
func sheetNumber(v string) string {
	if len(v) <= 15 {
		return v
	}
	x, err := strconv.ParseFloat(v, 64)
	if err != nil {
		return v
	}
	shown := strconv.FormatFloat(x, 'g', 15, 64)
	digits := 0
	for _, c := range []byte(shown) {
		if c == 'e' {
			break
		}
		if c >= '0' && c <= '9' {
			digits++
		}
	}
	const noise = 2 // digits at the end that may be
	if digits <= 15-noise {
		return shown
	}
	return strconv.FormatFloat(x, 'g', -1, 64)
}
