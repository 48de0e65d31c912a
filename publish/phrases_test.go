package publish

import (
	"testing"
	"time"

	"trivet/study"
)

func TestBlocksInWords(t *testing.T) {
	for _, tc := range []struct {
		blocks study.Blocks
		want   string
	}{
		{study.Blocks{What: "pork loin", Count: 20, Pieces: 2, Spares: 1}, "20 blocks (pork loin), each with 2 pieces and 1 spare"},
		{study.Blocks{What: "day of baking", Count: 15, Pieces: 3}, "15 blocks (day of baking), each with 3 pieces"},
		{study.Blocks{Count: 1, Pieces: 1, Spares: 2}, "1 block, each with 1 piece and 2 spares"},
		{study.Blocks{Count: 6}, "6 blocks"},
	} {
		if got := blocksInWords(tc.blocks); got != tc.want {
			t.Errorf("got %q, want %q", got, tc.want)
		}
	}
}

func TestCapitalLeavesSymbolsAlone(t *testing.T) {
	for s, want := range map[string]string{"": "", "margin": "Margin", "d′": "d′", "d": "D", "α": "Α"} {
		if got := capital(s); got != want {
			t.Errorf("capital(%q) = %q, want %q", s, got, want)
		}
	}
}

func TestMomentNamesItsOffset(t *testing.T) {
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	for _, tc := range []struct {
		at   time.Time
		want string
	}{
		{at, "2 March 2026, 08:00:00 UTC"},
		{at.In(time.FixedZone("", 0)), "2 March 2026, 08:00:00 UTC"},
		{at.In(time.FixedZone("", 3600)), "2 March 2026, 09:00:00 UTC+01:00"},
		{at.In(time.FixedZone("", -5*3600)), "2 March 2026, 03:00:00 UTC-05:00"},
	} {
		if got := momentOf(tc.at).Human; got != tc.want {
			t.Errorf("got %q, want %q", got, tc.want)
		}
	}
}
