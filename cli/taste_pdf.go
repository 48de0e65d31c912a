package cli

import (
	"slices"

	"trivet/bench"
	"trivet/fault"
	"trivet/safety"
	"trivet/tasting"
	"trivet/web"
)

// writeBallotsPDF writes the ballots of a tasting's folder for printing.
func writeBallotsPDF(env *Env, d *tasting.Document, o tasteBallotsOptions) error {
	if o.role != string(tasting.Taster) {
		return fault.BadUsage("flag", "only the assessors' ballots are written as PDF").On("--for", o.role).WithFix("leave --for out, or --pdf")
	}
	if o.paper != "a4" && o.paper != "letter" {
		return fault.BadUsage("paper-unknown", "no such paper").On("--paper", o.paper).WithFix("write a4 or letter")
	}
	facts := safety.Facts{Eaten: true, Tasting: true}
	for _, p := range d.Setup.Products {
		for _, a := range p.Allergens {
			if !slices.Contains(facts.Allergens, a) {
				facts.Allergens = append(facts.Allergens, a)
			}
		}
		if p.Undercooked {
			facts.Judged = safety.NotReached
		}
	}
	t := &bench.Tasting{Title: "Blind tasting", Document: d, Facts: facts}
	b, err := web.BallotsPDF(t, o.assessor, o.paper)
	if err != nil {
		return err
	}
	if err := writeNew(o.pdf, b, o.force); err != nil {
		return err
	}
	if env.JSON {
		return env.PrintJSON(map[string]any{"pdf": o.pdf, "paper": o.paper, "bytes": len(b)})
	}
	env.Printf("Ballots written to %s.\n", o.pdf)
	return nil
}
