package tasting_test

import (
	"fmt"
	"math/rand/v2"
	"time"

	"trivet/tasting"
)

// A whole tasting: deal and lock, serve, take the ballots, close, score. A
// real one takes its random bits from crypto/rand.
func Example() {
	random := rand.NewChaCha8([32]byte{1})
	now := time.Date(2026, 3, 1, 18, 0, 0, 0, time.UTC)

	setup := tasting.Setup{Method: "triangle", Products: []tasting.Product{{ID: "sear-last"}, {ID: "sear-first"}}}
	for i := range 12 {
		setup.Assessors = append(setup.Assessors, tasting.Assessor{ID: fmt.Sprintf("P%02d", i+1), Consents: true})
	}
	rule := tasting.Rule{Alpha: 0.05, Beta: 0.10, Discriminators: 0.50}
	doc, key, salt, _, err := tasting.NewDocument(setup, rule, nil, now, random)
	if err != nil {
		fmt.Println(err)
		return
	}

	// The server sees codes; this panel always takes the middle cup.
	for _, tray := range doc.Session.Server().Trays {
		ballot := tasting.Answer{ID: "ballot " + tray.Set, Set: tray.Set, Assessor: tray.Assessor, Choice: []string{tray.Codes[1]}}
		if err := doc.Session.Receive(ballot, now, random); err != nil {
			fmt.Println(err)
			return
		}
	}

	if _, err := doc.Session.Close(key, salt, now, random); err != nil {
		fmt.Println(err)
		return
	}
	scored, err := doc.Score()
	if err != nil {
		fmt.Println(err)
		return
	}
	r := scored.Choice
	fmt.Printf("%d of %d right, %s\n", r.Correct, r.N, r.Verdict)
	fmt.Println("chosen from the left:", r.Positions.Chosen)
	// Output:
	// 4 of 12 right, not-shown-different
	// chosen from the left: [0 12 0]
}
