// Package figure draws trivet's charts and section pictures as SVG, PNG and
// PDF.
//
// Every figure is a struct of plain inputs with three methods: Scene lays it
// out for a [Size] and a [Theme], Table gives what it shows as rows, and Alt
// says it in a sentence. A [Scene] is a list of paths and texts; it is
// written by [Scene.WriteSVG], [Scene.WritePNG] and [Scene.WritePDF]:
//
//	s, err := figure.AnswerLine{ … }.Scene(figure.Page, figure.Light)
//	if err != nil { … }
//	err = s.WriteSVG(w, figure.SVGOptions{})
//
// A figure is laid out anew for each size, so that text is as large on a
// phone as on a projector; it is never a picture shrunk. Colours are those of
// Okabe & Ito 2008, told apart by dash and marker as well. Temperatures are
// given in °C and differences in K whatever the scale shown.
package figure
