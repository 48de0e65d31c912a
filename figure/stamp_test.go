package figure

import "testing"

// plain is a figure without a head.
type plain struct{ Chance }

func (p plain) Scene(size Size, theme Theme) (*Scene, error) {
	p.Invented = false
	return p.Chance.Scene(size, theme)
}

func (plain) withInvented() {} // hides the promoted method: plain is not headed

func TestInventedSceneAlwaysSaysSo(t *testing.T) {
	for _, ex := range examples() {
		for _, f := range []Figure{ex.fig, plain{chance()}} {
			for _, size := range []Size{Phone, HD} {
				s, err := InventedScene(f, size, Dark)
				if err != nil {
					t.Fatal(err)
				}
				n := 0
				s.Texts(func(x Text, b Box) {
					if x.S != InventedText {
						return
					}
					n++
					if b.X < 0 || b.Y < 0 || b.Right() > s.Size.W || b.Bottom() > s.Size.H {
						t.Errorf("%s: the words leave the sheet", ex.name)
					}
				})
				if n != 1 {
					t.Errorf("%s at %s says it %d times", ex.name, size.Name, n)
				}
			}
		}
	}
}
