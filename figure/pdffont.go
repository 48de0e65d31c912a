package figure

import "codeberg.org/go-pdf/fpdf"

// AddFonts gives a PDF document the typeface of the figures, regular, bold
// ("B") and italic ("I"), embedded as Unicode, and returns its name for
// SetFont.
func AddFonts(doc *fpdf.Fpdf) string {
	for i, style := range pdfStyles {
		doc.AddUTF8FontFromBytes(fontFamily, style, fontData[i])
	}
	return fontFamily
}
