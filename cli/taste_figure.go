package cli

import (
	"bytes"
	"io"
	"path/filepath"
	"strings"
	"unicode"

	"trivet/fault"
	"trivet/figure"
	"trivet/tasting"
)

// scoreFigure draws a scored tasting into a file. The zero value draws
// nothing.
type scoreFigure struct {
	path, size string
	scene      figure.Size
	write      func(*figure.Scene, io.Writer) error
}

// check refuses a file or size that cannot be drawn, before any work.
func (p *scoreFigure) check() (err error) {
	p.write, p.scene, err = pictureWriter("--figure", "score.svg", p.path, p.size)
	return err
}

// draw writes the figures: into the file named, or where there are several
// into one each, the attribute added to the name.
func (p *scoreFigure) draw(env *Env, figs []figure.Tasted) error {
	if p.write == nil {
		return nil
	}
	if len(figs) == 0 {
		return fault.BadUsage("figure-none", "there is no figure of this result").On("--figure", p.path).
			WithFix("choice, sequential, hedonic, rated and ranking tests have one, and a-not-a and same-different where sureness was asked; leave --figure out")
	}
	taken := map[string]bool{}
	for _, f := range figs {
		sc, err := f.Figure.Scene(p.scene, figure.Light)
		if err != nil {
			return err
		}
		var b bytes.Buffer
		if err := p.write(sc, &b); err != nil {
			return err
		}
		path := p.path
		if len(figs) > 1 {
			path = besides(p.path, f.Name, taken)
		}
		if err := writePicture(path, b.Bytes()); err != nil {
			return err
		}
		env.Tell("figure: %s", path)
	}
	return nil
}

// besides adds a name to that of a file, before its ending: score-salty.svg.
// Names that come out alike are told apart by a dash more.
func besides(path, name string, taken map[string]bool) string {
	word := strings.Trim(strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return '-'
	}, name), "-")
	if word == "" {
		word = "rating"
	}
	for taken[word] {
		word += "-"
	}
	taken[word] = true
	ext := filepath.Ext(path)
	return strings.TrimSuffix(path, ext) + "-" + word + ext
}

// drawScored draws and then prints a result.
func (p *scoreFigure) drawScored(env *Env, s *tasting.Scored) error {
	if err := p.draw(env, figure.OfTasting(s, figure.Head{})); err != nil {
		return err
	}
	return printScored(env, s)
}
