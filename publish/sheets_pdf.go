package publish

import (
	"fmt"
	"io"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"trivet/figure"
)

// Paper is a size of paper.
type Paper string

// Papers.
const (
	A4     Paper = "A4"
	Letter Paper = "Letter"
)

// WritePDF lays the sheets out on A4 or Letter, without any other program.
// The file carries no date: the same plan gives the same bytes.
func (s *Sheets) WritePDF(w io.Writer, paper Paper) error {
	doc := fpdf.New("P", "mm", string(paper), "")
	epoch := time.Unix(0, 0).UTC()
	doc.SetCreationDate(epoch)
	doc.SetModificationDate(epoch)
	doc.SetCatalogSort(true)
	doc.SetTitle("Run sheets: "+s.Title, true)
	doc.SetLang("en")
	doc.SetMargins(14, 14, 14)
	doc.SetAutoPageBreak(true, 16)
	p := &sheetPDF{doc: doc, font: figure.AddFonts(doc)}
	doc.SetFooterFunc(func() {
		doc.SetY(-11)
		p.style("", 8)
		doc.SetTextColor(80, 80, 80)
		doc.CellFormat(0, 4, fmt.Sprintf("%s · %d", s.Title, doc.PageNo()), "", 0, "R", false, 0, "")
		doc.SetTextColor(0, 0, 0)
	})
	doc.SetLineWidth(0.2)
	p.day(s)
	p.order(s)
	for _, c := range s.Cooks {
		p.cook(c)
	}
	p.weigher(s)
	p.shopping(s)
	if err := doc.Output(w); err != nil {
		return fmt.Errorf("writing the sheets as PDF: %w", err)
	}
	return nil
}

type sheetPDF struct {
	doc  *fpdf.Fpdf
	font string
}

func (p *sheetPDF) style(style string, size float64) { p.doc.SetFont(p.font, style, size) }

// width is that of the text area.
func (p *sheetPDF) width() float64 {
	w, _ := p.doc.GetPageSize()
	return w - 28
}

func (p *sheetPDF) text(style string, size, gap float64, text string) {
	p.style(style, size)
	p.doc.MultiCell(0, size*0.46, text, "", "L", false)
	p.doc.Ln(gap)
}

// room starts a new page when less than h is left on this one.
func (p *sheetPDF) room(h float64) {
	_, page := p.doc.GetPageSize()
	if p.doc.GetY()+h > page-16 {
		p.doc.AddPage()
	}
}

// tick draws a box to tick at the present place.
func (p *sheetPDF) tick() {
	x, y := p.doc.GetXY()
	p.doc.Rect(x, y+0.4, 3.8, 3.8, "D")
	p.doc.SetX(x + 6)
}

func (p *sheetPDF) day(s *Sheets) {
	p.doc.AddPage()
	p.text("", 9, 0.5, "Day sheet · for the cook, not for whoever weighs")
	p.text("B", 19, 1, s.Title)
	if s.Invented {
		p.text("B", 11, 1, "Invented data")
	}
	if s.Claim != "" {
		p.text("", 12, 1, s.Claim)
	}
	seal := " Not sealed yet: seal before the first cook."
	if s.Sealed != "" {
		seal = " Sealed " + s.Sealed + "."
	}
	p.text("", 10, 3, s.Drawn+"."+seal)
	p.blanks([]string{"Date", "Cook", "Weigher", "Room °C"})
	p.heading("Ready? Before every cook")
	for _, g := range s.Gate {
		p.room(7)
		p.tick()
		p.style("", 11)
		p.doc.MultiCell(0, 5, g, "", "L", false)
		p.doc.Ln(1)
	}
	if len(s.Cautions) > 0 {
		p.heading("Take care")
		for _, c := range s.Cautions {
			p.room(14)
			p.text("B", 10, 0, c.Title)
			p.text("", 9.5, 1.2, c.Text)
		}
	}
	if len(s.Void) > 0 {
		p.heading("A cook does not count when")
		for _, v := range s.Void {
			p.room(6)
			p.text("", 10.5, 0.6, "– "+v.When+" ("+v.ID+")")
		}
		p.text("I", 9.5, 0, "Decide before the result is seen, and write down which rule.")
	}
}

func (p *sheetPDF) heading(text string) {
	p.room(20)
	p.doc.Ln(3)
	p.text("B", 13.5, 1.2, text)
}

// blanks is a line of labelled blanks.
func (p *sheetPDF) blanks(labels []string) {
	w := p.width() / float64(len(labels))
	p.style("", 10)
	x, y := p.doc.GetXY()
	for i, l := range labels {
		at := x + float64(i)*w
		p.doc.SetXY(at, y)
		lw := p.doc.GetStringWidth(l) + 2
		p.doc.CellFormat(lw, 6, l, "", 0, "L", false, 0, "")
		p.doc.Line(at+lw+1, y+5.4, at+w-4, y+5.4)
	}
	p.doc.SetXY(x, y+8)
}

// column of a table; a width of 0 takes an equal share of what is left.
type column struct {
	head  string
	width float64
}

// table draws a table whose head is repeated on every page. A cell "☐" is a
// box to tick.
func (p *sheetPDF) table(columns []column, rows [][]string, size, height float64) {
	free, open := p.width(), 0
	for _, c := range columns {
		free -= c.width
		if c.width == 0 {
			open++
		}
	}
	for i := range columns {
		if columns[i].width == 0 {
			columns[i].width = free / float64(open)
		}
	}
	line := func(cells []string, style string) {
		p.style(style, size)
		h := height
		for i, cell := range cells {
			lines := p.doc.SplitText(cell, columns[i].width-2.4)
			h = max(h, float64(len(lines))*size*0.44+2.4)
		}
		_, page := p.doc.GetPageSize()
		if p.doc.GetY()+h > page-16 {
			p.doc.AddPage()
			if style == "" {
				p.head(columns, size)
				p.style(style, size)
			}
		}
		x, y := p.doc.GetXY()
		for i, cell := range cells {
			p.doc.Rect(x, y, columns[i].width, h, "D")
			if cell == "☐" {
				p.doc.Rect(x+2, y+1.6, 3.8, 3.8, "D")
			} else {
				p.doc.SetXY(x+1.2, y+1.2)
				p.doc.MultiCell(columns[i].width-2.4, size*0.44, cell, "", "L", false)
			}
			x += columns[i].width
		}
		p.doc.SetXY(14, y+h)
	}
	p.head(columns, size)
	for _, r := range rows {
		line(r, "")
	}
}

func (p *sheetPDF) head(columns []column, size float64) {
	p.style("B", size)
	h := 0.0
	for _, c := range columns {
		h = max(h, float64(len(p.doc.SplitText(c.head, c.width-2.4)))*size*0.44+2.4)
	}
	x, y := p.doc.GetXY()
	for _, c := range columns {
		p.doc.Rect(x, y, c.width, h, "D")
		p.doc.SetXY(x+1.2, y+1.2)
		p.doc.MultiCell(c.width-2.4, size*0.44, c.head, "", "L", false)
		x += c.width
	}
	p.doc.SetXY(14, y+h)
}

func (p *sheetPDF) order(s *Sheets) {
	p.doc.AddPage()
	p.text("B", 15, 2, "Run order")
	what := "Block"
	if s.What != "" {
		what = capital(s.What)
	}
	cols := []column{{"Done", 14}, {"No.", 11}, {what, 19}, {"Piece", 19}, {"Treatment", 0}}
	if s.hasBurner() {
		cols = append(cols, column{"Burner", 17})
	}
	if s.hasProbe() {
		cols = append(cols, column{"Probe", 16})
	}
	cols = append(cols, column{"Code", 15}, column{"Deviation, in a word", 36})
	var rows [][]string
	for _, c := range s.Cooks {
		r := []string{"☐", fmt.Sprint(c.Order), c.Block, c.Piece, c.Treatment}
		if s.hasBurner() {
			r = append(r, c.Burner)
		}
		if s.hasProbe() {
			r = append(r, c.Probe)
		}
		rows = append(rows, append(r, c.Code, ""))
	}
	p.table(cols, rows, 10, 7)
	p.doc.Ln(2)
	p.text("I", 9.5, 0, "Cook in this order, also when it is unhandy: it was drawn so that neither the pan nor the hour favours a treatment.")
}

func (p *sheetPDF) cook(c SheetCook) {
	p.doc.AddPage()
	y := p.doc.GetY()
	p.style("B", 15)
	p.doc.CellFormat(32, 9, fmt.Sprintf("Cook %d", c.Order), "", 0, "L", false, 0, "")
	p.style("", 14)
	p.doc.CellFormat(p.width()-62, 9, c.Treatment, "", 0, "L", false, 0, "")
	p.style("B", 19)
	p.doc.CellFormat(30, 9, c.Code, "", 1, "R", false, 0, "")
	p.doc.SetLineWidth(0.5)
	p.doc.Line(14, y+10, 14+p.width(), y+10)
	p.doc.SetLineWidth(0.2)
	p.doc.Ln(3)
	var where []string
	if c.Block != "" {
		where = append(where, "block "+c.Block)
	}
	where = append(where, "piece "+c.Piece)
	if c.Burner != "" {
		where = append(where, "burner "+c.Burner)
	}
	if c.Probe != "" {
		where = append(where, "probe "+c.Probe)
	}
	p.text("", 11.5, 1, capital(strings.Join(where, " · ")))
	if len(c.Set) > 0 {
		p.heading("Set")
		for _, l := range c.Set {
			p.tick()
			p.style("", 11)
			p.doc.MultiCell(0, 5, capital(l.Name)+": "+l.Value, "", "L", false)
			p.doc.Ln(1)
		}
	}
	p.heading("Do, weigh, note")
	for _, step := range c.Steps {
		p.step(step)
	}
	if len(c.Readings) > 0 {
		var names []string
		for _, r := range c.Readings {
			names = append(names, r.Name)
		}
		p.doc.Ln(1)
		p.text("I", 9.5, 0, "Read by code on the weigher's list: "+strings.Join(names, "; ")+".")
	}
	p.heading("Deviations: at, what, why")
	p.room(34)
	for range 3 {
		p.doc.Ln(7)
		p.doc.Line(14, p.doc.GetY(), 14+p.width(), p.doc.GetY())
	}
	p.doc.Ln(4)
	p.style("", 11)
	p.doc.CellFormat(18, 5, "Counts", "", 0, "L", false, 0, "")
	p.tick()
	p.doc.CellFormat(12, 5, "yes", "", 0, "L", false, 0, "")
	p.tick()
	p.doc.CellFormat(30, 5, "void, by rule", "", 0, "L", false, 0, "")
	x, yy := p.doc.GetXY()
	p.doc.Line(x, yy+4.6, x+50, yy+4.6)
}

// step is one row: a box, when, what to do, and the blanks.
func (p *sheetPDF) step(s Step) {
	const whenW = 22
	blank := 19.0
	notesW := 0.0
	p.style("", 10)
	for _, n := range s.Note {
		notesW += blank + p.doc.GetStringWidth(n) + 4
	}
	doW := p.width() - 7 - whenW - notesW
	h := max(8.5, float64(len(p.doc.SplitText(s.Do, doW-2)))*4.7+3.6, float64(len(p.doc.SplitText(s.When, whenW-1)))*4.7+3.6)
	p.room(h)
	x, y := p.doc.GetXY()
	p.doc.SetXY(x, y+1.6)
	p.tick()
	p.doc.SetXY(x+7, y+1.8)
	p.doc.MultiCell(whenW-1, 4.7, s.When, "", "L", false)
	p.doc.SetXY(x+7+whenW, y+1.8)
	p.doc.MultiCell(doW-2, 4.7, s.Do, "", "L", false)
	at := x + p.width() - notesW
	for _, n := range s.Note {
		w := p.doc.GetStringWidth(n) + 1
		p.doc.Line(at, y+6.6, at+blank, y+6.6)
		p.doc.SetXY(at+blank+1, y+1.8)
		p.doc.CellFormat(w, 4.7, n, "", 0, "L", false, 0, "")
		at += blank + w + 3
	}
	p.doc.SetDrawColor(170, 170, 170)
	p.doc.Line(x, y+h, x+p.width(), y+h)
	p.doc.SetDrawColor(0, 0, 0)
	p.doc.SetXY(x, y+h)
}

func (p *sheetPDF) weigher(s *Sheets) {
	p.doc.AddPage()
	p.text("", 9, 0.5, "Weigher's list · codes only")
	p.text("B", 15, 1, s.Title)
	p.text("", 10, 2, "Write values beside the code on the tray. Which treatment a code had is not on this sheet, and should stay so until the last value is in.")
	cols := []column{{"Code", 16}, {"Off heat, g", 0}, {"Rested, g", 0}, {"Clock", 0}}
	for _, r := range readingHeads(s) {
		head := capital(r.Name)
		if r.Value != "" {
			head += ", " + r.Value
		}
		cols = append(cols, column{head, 0})
	}
	cols = append(cols, column{"Initials", 18})
	var rows [][]string
	for _, c := range s.byCode() {
		r := make([]string, len(cols))
		r[0] = c
		rows = append(rows, r)
	}
	p.table(cols, rows, 10, 8)
}

func (p *sheetPDF) shopping(s *Sheets) {
	p.doc.AddPage()
	p.text("B", 15, 2, "To buy and cut")
	var rows [][]string
	for _, l := range s.Shopping {
		rows = append(rows, []string{"☐", l.Name, l.Value})
	}
	p.table([]column{{"", 9}, {"What", 70}, {"How much", 0}}, rows, 11, 8)
	p.doc.Ln(2)
	p.text("I", 9.5, 0, "Label pieces as they are cut, in the order of their place. Which piece gets which treatment is drawn: do not choose.")
}
