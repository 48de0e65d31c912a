package bench_test

import (
	"context"
	"crypto/rand"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/google/uuid"

	"trivet/bench"
	"trivet/store"
	"trivet/study"
	"trivet/tasting"
)

const potatoes = `study: Potatoes
invented: yes
claim: {says: Early salt tastes different, scope: boiled potatoes, against: nobody can tell}
questions:
  - {id: taste, ask: Can people taste it?, tasting: {method: triangle, discriminators: 30 %, alpha: 0.05, beta: 0.10}}
treatments: [{id: late, control: true}, {id: early}]
`

// A tasting from the deal to the score: the ballots come in while the key is
// locked, and closing opens it.
func ExampleTastingRoom() {
	ctx := context.Background()
	dir, err := os.MkdirTemp("", "room-")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir)
	nb, err := store.Create(ctx, filepath.Join(dir, "kitchen.trivet"), store.Options{Now: time.Now})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer nb.Close()
	st, err := study.Parse("study.yaml", []byte(potatoes))
	if err != nil {
		fmt.Println(err)
		return
	}
	if err := nb.PutStudy(ctx, st, []byte(potatoes), nil); err != nil {
		fmt.Println(err)
		return
	}

	room, err := bench.NewTastingRoom(ctx, nb, time.Now, rand.Reader)
	if err != nil {
		fmt.Println(err)
		return
	}
	plan := bench.TastingPlan{Study: st.ID, Title: "Potatoes", Question: "taste", Rule: tasting.Rule{Alpha: 0.05, Discriminators: 0.30},
		Setup: tasting.Setup{Method: "triangle", Products: []tasting.Product{{ID: "late"}, {ID: "early"}}}}
	for _, id := range []string{"P1", "P2", "P3", "P4", "P5", "P6"} {
		plan.Setup.Assessors = append(plan.Setup.Assessors, tasting.Assessor{ID: id, Consents: true})
	}
	t, _, err := room.Open(ctx, plan, "a passphrase of several words")
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, tray := range t.Document.Session.Trays[:5] {
		if _, err := room.Enter(ctx, t, tray.Assessor, bench.Door{Consents: true}); err != nil {
			fmt.Println(err)
		}
		a := tasting.Answer{ID: uuid.NewString(), Set: tray.Set, Assessor: tray.Assessor, Choice: tray.Codes[:1]}
		if err := room.Answer(ctx, t, a); err != nil {
			fmt.Println(err)
		}
	}
	if err := room.Close(ctx, t, "not the passphrase"); err != nil {
		fmt.Println(err)
	}
	if err := room.Close(ctx, t, "a passphrase of several words"); err != nil {
		fmt.Println(err)
	}
	res, err := room.Result(ctx, t)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%d answers scored; the seed deals the key again: %t\n", res.Received, res.Redealt)
	fmt.Println(res.Notes[0].Text)

	// The counts stand in the study's document now, and answer its question.
	got, err := bench.Answer(ctx, nb, st.ID, bench.AnswerOptions{Now: time.Now()})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("assessments in the answer:", got.Answer.Findings[0].Tasting.N)
	// Output:
	// the passphrase does not open this key, or the file was changed; ask the lead of the tasting
	// 5 answers scored; the seed deals the key again: true
	// 1 of 6 sets have no answer
	// assessments in the answer: 5
}
