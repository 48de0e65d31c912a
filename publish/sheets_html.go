package publish

import (
	"bytes"
	"fmt"
	"html/template"
	"io"

	"trivet/figure"
)

// WriteHTML writes the sheets as one page that asks for nothing over the
// network. It prints on A4 and on Letter: nothing is placed by page size.
func (s *Sheets) WriteHTML(w io.Writer) error {
	var body bytes.Buffer
	if err := pages.ExecuteTemplate(&body, "sheets", map[string]any{"S": s, "Burner": s.hasBurner(), "Probe": s.hasProbe(), "Codes": s.byCode(),
		"Readings": readingHeads(s)}); err != nil {
		return fmt.Errorf("setting the sheets: %w", err)
	}
	css, err := templates.ReadFile("templates/sheets.css")
	if err != nil {
		return err
	}
	return pages.ExecuteTemplate(w, "sheets-page", map[string]any{"Title": s.Title, "CSS": template.CSS(figure.FontFaces(body.String()) + string(css)), "Body": template.HTML(body.String())})
}

// readingHeads are the columns of the weigher's list.
func readingHeads(s *Sheets) []Line {
	if len(s.Cooks) == 0 {
		return nil
	}
	return s.Cooks[0].Readings
}
