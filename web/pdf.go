package web

import (
	"bytes"
	"slices"
	"strings"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"rsc.io/qr"

	"trivet/bench"
	"trivet/fault"
	"trivet/safety"
	"trivet/tasting"
)

// BallotsPDF sets the ballots of a tasting kept in a folder, one a page, for
// "a4" or "letter" paper, without links: of one assessor, or of all for "".
// An unknown assessor is code "assessor-unknown".
func BallotsPDF(t *bench.Tasting, assessor, paper string) ([]byte, error) {
	seats := t.Assessors()
	if assessor != "" {
		if !slices.Contains(seats, assessor) {
			return nil, fault.BadUsage("assessor-unknown", "no such assessor at this tasting").On("assessor", assessor).WithFix("use the pseudonym on the tray sheet")
		}
		seats = []string{assessor}
	}
	sheets, err := sheetsOf(t, seats, func(string) string { return "" })
	if err != nil {
		return nil, err
	}
	return ballotsPDF(t, sheets, paper)
}

// ballotsPDF sets one ballot a page, for A4 or US Letter paper, with a QR
// code to the same ballot on a phone where the links are open.
func ballotsPDF(t *bench.Tasting, sheets []sheetView, paper string) ([]byte, error) {
	size := "A4"
	if strings.EqualFold(paper, "letter") {
		size = "Letter"
	}
	doc := fpdf.New("P", "mm", size, "")
	doc.SetTitle(say("sheets-title", t.Title), true)
	doc.SetCreator("trivet", true)
	doc.SetCreationDate(t.OpenedAt)
	doc.SetModificationDate(t.OpenedAt)
	doc.SetCatalogSort(true)
	doc.AddUTF8FontFromBytes("Go", "", goregular.TTF)
	doc.AddUTF8FontFromBytes("Go", "B", gobold.TTF)
	doc.SetMargins(20, 18, 20)
	doc.SetAutoPageBreak(true, 18)
	for _, s := range sheets {
		if err := ballotPage(doc, t, s); err != nil {
			return nil, err
		}
	}
	var out bytes.Buffer
	if err := doc.Output(&out); err != nil {
		return nil, fault.New("pdf", "the ballots could not be set").Wrap(err)
	}
	return out.Bytes(), nil
}

func ballotPage(doc *fpdf.Fpdf, t *bench.Tasting, s sheetView) error {
	doc.AddPage()
	width, _ := doc.GetPageSize()
	body := width - 40
	text := func(style string, pt, line float64, str string) {
		doc.SetFont("Go", style, pt)
		doc.MultiCell(body, line, str, "", "L", false)
	}
	if t.Invented {
		text("B", 11, 6, say("invented"))
	}
	if s.Link != "" {
		if err := drawQR(doc, s.Link, width-20-30, 16, 30); err != nil {
			return err
		}
		body -= 34
	}
	text("B", 16, 7, t.Title)
	text("", 11, 6, say("sheet-head", s.Assessor, s.Number, s.Total))
	if s.Link != "" {
		text("", 9, 5, say("sheet-qr"))
		body = width - 40
		if doc.GetY() < 50 {
			doc.SetY(50)
		}
	}
	doc.Ln(2)
	text("", 10.5, 5.2, strings.Join(s.How, " "))
	doc.Ln(3)
	text("B", 12.5, 6, s.Ask)
	doc.Ln(2)
	if s.Reference {
		text("", 12, 8, say("reference"))
	}
	ballotCells(doc, s, text)
	doc.Ln(4)
	if len(s.Sureness) > 0 {
		text("", 11, 7, say("sureness")+"   □ "+strings.Join(s.Sureness, "   □ "))
	}
	text("", 11, 7, say("comment")+": "+strings.Repeat("_", 60))
	doc.Ln(3)
	for _, c := range t.Cautions(safety.OnBallot) {
		text("B", 9.5, 4.8, c.Title)
		text("", 9.5, 4.8, c.Text)
	}
	return nil
}

func ballotCells(doc *fpdf.Fpdf, s sheetView, text func(style string, pt, line float64, str string)) {
	if s.Kind == tasting.KindResponse {
		text("B", 16, 10, strings.Join(s.Codes, "   "))
		text("", 12, 9, "□ "+strings.Join(s.Answers, "     □ "))
		return
	}
	for _, c := range s.Codes {
		switch s.Kind {
		case tasting.KindChoice:
			text("", 16, 11, "□  "+c)
		case tasting.KindRank:
			text("", 14, 10, c+"   ____")
		case tasting.KindScale:
			text("B", 14, 9, c)
			for _, sc := range s.Scales {
				if sc.Line {
					text("", 11, 8, sc.Name+" (0–100)  ____   "+sc.Low+" – "+sc.High)
					continue
				}
				text("", 11, 8, sc.Name+"   □ "+strings.Join(sc.Points, "  □ "))
			}
		case tasting.KindChecks:
			text("B", 14, 9, c)
			text("", 11, 7, "□ "+strings.Join(s.Words, "   □ "))
		default:
			text("B", 14, 9, c)
			text("", 11, 9, strings.Repeat("_", 70))
		}
	}
}

// drawQR fills the dark modules of a link's code, side mm with its margin.
func drawQR(doc *fpdf.Fpdf, link string, x, y, side float64) error {
	c, err := qr.Encode(link, qr.M)
	if err != nil {
		return fault.New("qr", "the link is too long for a QR code").Wrap(err)
	}
	m := side / float64(c.Size+2*quiet)
	doc.SetFillColor(0, 0, 0)
	for row := range c.Size {
		for col := 0; col < c.Size; col++ {
			n := 0
			for col+n < c.Size && c.Black(col+n, row) {
				n++
			}
			if n > 0 {
				doc.Rect(x+m*float64(col+quiet), y+m*float64(row+quiet), m*float64(n), m, "F")
				col += n
			}
		}
	}
	return nil
}
