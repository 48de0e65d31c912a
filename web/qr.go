package web

import (
	"fmt"
	"html/template"
	"strings"

	"rsc.io/qr"

	"trivet/fault"
)

// quiet is the margin a QR code needs, in modules (ISO/IEC 18004).
const quiet = 4

// qrSVG draws a link as one path, black on white in every theme.
func qrSVG(link string) (template.HTML, error) {
	c, err := qr.Encode(link, qr.M)
	if err != nil {
		return "", fault.New("qr", "the link is too long for a QR code").Wrap(err)
	}
	var path strings.Builder
	for y := range c.Size {
		for x := 0; x < c.Size; x++ {
			n := 0
			for x+n < c.Size && c.Black(x+n, y) {
				n++
			}
			if n > 0 {
				fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", x+quiet, y+quiet, n, n)
				x += n
			}
		}
	}
	side := c.Size + 2*quiet
	return template.HTML(fmt.Sprintf(`<svg class="qr" role="img" viewBox="0 0 %d %d" shape-rendering="crispEdges"><title>%s</title><path fill="#fff" d="M0 0h%dv%dH0z"/><path fill="#000" d="%s"/></svg>`,
		side, side, template.HTMLEscapeString(say("qr-title")), side, side, path.String())), nil
}

// TerminalQR draws a link in half blocks, light on dark as terminals are.
func TerminalQR(link string) (string, error) {
	c, err := qr.Encode(link, qr.L)
	if err != nil {
		return "", fault.New("qr", "the link is too long for a QR code").Wrap(err)
	}
	light := func(x, y int) bool { return x < 0 || y < 0 || x >= c.Size || y >= c.Size || !c.Black(x, y) }
	var b strings.Builder
	for y := -2; y < c.Size+2; y += 2 {
		for x := -2; x < c.Size+2; x++ {
			switch {
			case light(x, y) && light(x, y+1):
				b.WriteRune('█')
			case light(x, y):
				b.WriteRune('▀')
			case light(x, y+1):
				b.WriteRune('▄')
			default:
				b.WriteRune(' ')
			}
		}
		b.WriteByte('\n')
	}
	return b.String(), nil
}
