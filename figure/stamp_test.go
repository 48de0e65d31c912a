package figure

import "testing"

// plain is a figure without a head.
type plain struct{ of Chance }

func (p plain) Scene(size Size, theme Theme) (*Scene, error) { return p.of.Scene(size, theme) }
func (p plain) Table() Table                                 { return p.of.Table() }
func (p plain) Alt() string                                  { return p.of.Alt() }

func TestInventedSceneAlwaysSaysSo(t *testing.T) {
	unsaid := chance()
	unsaid.Invented = false
	for _, ex := range examples() {
		for _, f := range []Figure{ex.fig, plain{unsaid}} {
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
