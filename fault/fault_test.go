package fault_test

import (
	"errors"
	"io"
	"testing"

	"trivet/fault"
)

func TestErrorSaysWhereWhatAndWhatToDo(t *testing.T) {
	for _, tc := range []struct {
		err  *fault.Error
		want string
	}{
		{fault.New("x", "this is not a number").In("a.csv").At(3, 0).AtRow(2).On("mass", "warm").WithFix("write a number"),
			`a.csv:3, row 2, mass: this is not a number (got "warm"); write a number`},
		{fault.New("x", "unit missing").At(4, 7), "line 4:7: unit missing"},
		{fault.BadUsage("x", "no cook %q", "P9").On("--cook", "P9"), `--cook: no cook "P9"`},
		{fault.New("x", "cannot read").Wrap(io.ErrUnexpectedEOF), "cannot read: unexpected EOF"},
	} {
		if got := tc.err.Error(); got != tc.want {
			t.Errorf("got  %s\nwant %s", got, tc.want)
		}
	}
}

func TestAsFindsTheFirstOfAList(t *testing.T) {
	first := fault.New("a", "first")
	err := error(fault.List{first, fault.New("b", "second")})
	if fault.As(err) != first {
		t.Error("the first error of a list was not found")
	}
	if !errors.Is(fault.New("x", "y").Wrap(io.EOF), io.EOF) {
		t.Error("the cause is hidden")
	}
	if (fault.List{}).Err() != nil {
		t.Error("an empty list is no error")
	}
}

func TestEdits(t *testing.T) {
	for _, tc := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"", "abc", 3}, {"kitten", "sitting", 3}, {"sear-frist", "sear-first", 1}, {"kälte", "kalte", 1}} {
		if got := fault.Edits(tc.a, tc.b); got != tc.want {
			t.Errorf("%q to %q: %d, want %d", tc.a, tc.b, got, tc.want)
		}
		if fault.Edits(tc.b, tc.a) != tc.want {
			t.Errorf("%q to %q: not symmetric", tc.b, tc.a)
		}
	}
}
