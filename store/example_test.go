package store_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"trivet/store"
	"trivet/study"
)

// A notebook is made, written and read. Every Put is on disk when it returns.
func Example() {
	ctx := context.Background()
	dir, err := os.MkdirTemp("", "kitchen")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(dir)
	now := func() time.Time { return time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC) }
	notebook, err := store.Create(ctx, filepath.Join(dir, "notebook.trivet"), store.Options{Now: now})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer notebook.Close()

	document := []byte("study: Butter or oil\nclaim: {says: Butter browns a chop faster}\n")
	s := &study.Study{ID: "butter-or-oil", Title: "Butter or oil"}
	cook := study.Cook{
		ID: "0196f5a0-0000-7000-8000-000000000001", Label: "L01-butter", Treatment: "butter", Role: study.Pilot,
		Weighings: []study.Weighing{{Stage: study.Raw, MassG: 250.1, ResG: 0.1}},
	}
	err = notebook.PutStudy(ctx, s, document, nil, study.Event{Kind: study.EventCreated, What: "study made"})
	if err == nil {
		err = notebook.PutCook(ctx, s.ID, cook, study.Event{Kind: study.EventChanged, What: "cook L01-butter recorded"})
	}
	if err != nil {
		fmt.Println(err)
		return
	}

	rec, err := notebook.Record(ctx, s.ID)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(rec.Study.Title, "-", rec.Cooks[0].Label, rec.Cooks[0].Weighings[0].MassG, "g")
	for _, e := range rec.Events {
		fmt.Println(e.Seq, e.What)
	}
	// Output:
	// Butter or oil - L01-butter 250.1 g
	// 1 study made
	// 2 cook L01-butter recorded
}
