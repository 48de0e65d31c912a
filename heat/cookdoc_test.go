package heat_test

import (
	"fmt"
	"os"
	"regexp"
	"testing"

	"trivet/heat"
)

// The cook file printed in the manual can be read and run.
func TestManualsCookFile(t *testing.T) {
	text, err := os.ReadFile("../docs/cook-file.md")
	if err != nil {
		t.Fatal(err)
	}
	blocks := regexp.MustCompile("(?s)```yaml\n(.*?)```").FindAllSubmatch(text, -1)
	if len(blocks) == 0 {
		t.Fatal("the manual shows no cook file")
	}
	for _, b := range blocks {
		c, err := heat.ParseCook("docs/cook-file.md", b[1])
		if err != nil {
			t.Fatal(err)
		}
		if _, err := heat.Simulate(&c.Spec, heat.Options{Fast: true}); err != nil {
			t.Error(err)
		}
	}
}

func ExampleParseCook() {
	c, err := heat.ParseCook("bath.yaml", []byte(`
piece: {shape: slab, thickness: 25 mm, start: 5 °C, food: chicken breast}
legs:
  - {name: bath, bottom: {bath: 62 °C}, top: {bath: 62 °C}, ends_when: {core: 60 °C}}
`))
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(c.Spec.Legs[0].Bottom.Describe(), "until the core is at", *c.Spec.Legs[0].Ends.CoreC, "°C")

	_, err = heat.ParseCook("bath.yaml", []byte("piece: {thickness: 25}\n"))
	fmt.Println(err)
	// Output:
	// fluid 62 °C until the core is at 60 °C
	// bath.yaml:1:20, piece.thickness: a length needs a unit (got "25"); write it with its unit, such as "38 mm" or "1 1/2 in"
	// bath.yaml:1:8, piece.start: the piece has no start; write it like start: 5 °C
	// bath.yaml:1:8, piece.food: the piece does not say what it is made of; give food (such as "chicken breast"; trivet simulate --foods lists them), composition or material
	// bath.yaml:1:6, legs: the cook has no legs; write at least one leg with bottom, top and ends_when
}
