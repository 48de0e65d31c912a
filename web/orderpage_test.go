package web

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"trivet/bench"
	"trivet/study"
)

// The order that a page draws from a seed is the one that anybody draws from
// it over the same pieces.
func TestTheRunOrderFromASeed(t *testing.T) {
	d, s := saltDesk(t)
	draw := func(seed string) url.Values { return url.Values{"do": {"draw"}, "seed": {seed}} }
	d.refuses(saltAt+"/order", draw("dice 3 5 1"), 422, "There are no blocks to draw from", `value="dice 3 5 1"`)
	d.accepts(saltAt+"/edit", edit("plan", "blocks.count", "", "4", "blocks.pieces", "2", "2"))
	d.accepts(saltAt+"/entries", url.Values{"list": {"pieces"}, "form": {"from-plan"}, "page": {"pieces"}, "do": {"from-plan"}, "set:pieces[plan].prefix": {"L"}, "set:pieces[plan].twins": {"yes"}})
	d.refuses(saltAt+"/order", draw(strings.Repeat("7", 201)), 422, "too long")
	d.accepts(saltAt+"/order", draw(" dice 3 5 1 "))
	first := s().Design
	plan, err := bench.Deal(s(), bench.DealOptions{Seed: "dice 3 5 1"})
	if err != nil {
		t.Fatal(err)
	}
	for i, x := range plan.Slots {
		if got := first.RunOrder[i]; got != (study.RunSlot{Order: x.Order, Block: x.Block, Piece: x.Piece, Treatment: x.Treatment, Code: x.Code}) {
			t.Fatalf("cook %d is %+v, want %+v", i+1, got, x)
		}
	}
	// Drawing again can be taken back.
	wants(t, d.accepts(saltAt+"/order", draw("another")), "The run order was drawn again, from the seed another.")
	d.backAgain()
	if got := s().Design; got.Seed != "dice 3 5 1" || !slices.Equal(got.RunOrder, first.RunOrder) {
		t.Errorf("taken back: %+v", got)
	}
	// The button of the study's page takes a seed by lot.
	d.accepts(saltAt+"/order", nil)
	if got := s().Design; len(got.Seed) != 32 || len(got.RunOrder) != 8 {
		t.Errorf("by lot: %+v", got)
	}
	d.accepts(saltAt+"/seal", url.Values{"sure": {"yes"}, "open": {"yes"}})
	d.refuses(saltAt+"/order", draw("too late"), 422, "The plan is sealed with its run order")
}

// An order that was drawn elsewhere is written in, row by row.
func TestARunOrderIsWrittenIn(t *testing.T) {
	d, s := saltDesk(t)
	_, body := d.get(saltAt + "/order")
	wants(t, body, "how many blocks there are")
	d.accepts(saltAt+"/edit", edit("plan", "blocks.count", "", "2", "blocks.pieces", "2", "2", "blocks.spares", "1", "1"))
	_, body = d.get(saltAt + "/order")
	wants(t, body, `name="piece:4"`, `<option value="L02-b">`)
	if strings.Contains(body, `name="piece:5"`) || strings.Contains(body, "L02-c") {
		t.Error("more rows than cooks, or a spare among them")
	}
	write := func(rows ...string) url.Values {
		v := url.Values{"do": {"write"}, "seen": {stampOf(s().Design)}, "kind": {"pairs"}, "seed": {"drawn with cards"}}
		for i, row := range rows {
			f := strings.Split(row, " ")
			for k, name := range []string{"piece", "treatment", "code"} {
				v.Set(fmt.Sprintf("%s:%d", name, i+1), strings.TrimPrefix(f[k], "-"))
			}
		}
		return v
	}
	d.refuses(saltAt+"/order", write("- - -"), 422, "No cook was written in", `value="drawn with cards"`)
	for _, c := range []struct{ rows, says string }{
		{"L01-a new A1|- usual A2", "This cook has no piece"},
		{"L01-a new A1|L01-b - A2", "This cook has no treatment"},
		{"L01-a new A1|L01-a usual A2", "Piece L01-a is cooked already, as cook 1"},
		{"L09-z new A1", "No piece is called L09-z"},
	} {
		d.refuses(saltAt+"/order", write(strings.Split(c.rows, "|")...), 422, c.says, `value="A1"`, `aria-invalid="true"`)
	}
	whole := []string{"L02-b new B1", "L02-a usual B2", "- - -", "L01-a usual B3", "L01-b new B4"}
	stale := write(whole...)
	d.accepts(saltAt+"/order", write(whole...))
	want := []study.RunSlot{{Order: 1, Block: "L02", Piece: "L02-b", Treatment: "new", Code: "B1"}, {Order: 2, Block: "L02", Piece: "L02-a", Treatment: "usual", Code: "B2"},
		{Order: 3, Block: "L01", Piece: "L01-a", Treatment: "usual", Code: "B3"}, {Order: 4, Block: "L01", Piece: "L01-b", Treatment: "new", Code: "B4"}}
	if got := s().Design; got.Kind != "pairs" || got.Seed != "drawn with cards" || !slices.Equal(got.RunOrder, want) {
		t.Fatalf("%+v", got)
	}
	stale.Set("code:1", "mine")
	d.refuses(saltAt+"/order", stale, http.StatusConflict, "Somebody else changed the run order", "2: L02-a, usual B2", `value="mine"`)

	// After the seal it stands beside it; spares and pieces of other blocks are told apart.
	d.accepts(saltAt+"/seal", url.Values{"sure": {"yes"}, "open": {"yes"}})
	_, body = d.get(saltAt + "/order")
	wants(t, body, "The plan is sealed. What is changed now will stand beside the seal")
	other := write("L02-a usual B2", "L02-b new B1", "L01-a usual B3", "L01-b new B4")
	wants(t, d.accepts(saltAt+"/order", other), "Changed since the seal", "The run order was written in: 4 cooks.")
	d.backAgain()
	if got := s().Design; !slices.Equal(got.RunOrder, want) {
		t.Errorf("taken back: %+v", got.RunOrder)
	}
}
