package study_test

import (
	"fmt"

	"trivet/study"
)

// Parse says everything that is wrong at once, and where.
func ExampleParse() {
	_, err := study.Parse("study.yaml", []byte(`study: Salt early or late
treatments: [{id: late, control: yes}, {id: early}]
questions:
  - {id: loss, response: cooking_loss, compare: {treatment: erly}, margin: 2 %}
controlled: {thickness: 30}
`))
	fmt.Println(err)
	// Output:
	// study.yaml:4:61, questions[loss].compare.treatment: no such treatment (got "erly"); did you mean "early"? (there are: late, early)
	// study.yaml:4:76, questions[loss].margin: cooking_loss is itself in %, so a margin in % could mean two things (got "2 %"); write it in percentage points, such as "2 points"
	// study.yaml:5:25, controlled.thickness: a length needs a unit (got "30"); write it with its unit, such as "38 mm" or "1 1/2 in"
}

// Check lists what is still to decide in a document that can be read.
func ExampleCheck() {
	s, err := study.Parse("study.yaml", []byte(`study: Salt early or late
licence: CC-BY-4.0
claim: {says: salting early lowers the loss, scope: pork chops, fair: one loin, against: equal loss}
treatments: [{id: late, control: yes, set: {salt: after}}, {id: early, set: {salt: before}}]
questions: [{id: loss, response: cooking_loss, claim: lower}]
blocks: {what: loin, count: 5, pieces: 2, spares: 1}
controlled: {thickness: 30 mm ± 1 mm}
void: [{id: slip, when: the probe slipped out}]
foods: {animal: pork, form: intact}
`))
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, f := range study.Check(s, nil) {
		fmt.Println(f.Severity, f.Where, f.Code)
	}
	// Output:
	// missing questions[loss].margin no-margin
	// missing design.run_order no-run-order
	// doubt blocks.count few-blocks
}

// A Document is edited without touching its other bytes.
func ExampleDocument_Set() {
	d, err := study.ReadDocument("study.yaml", []byte(`study: Salt early or late
blocks: {what: loin, count: 12}   # two chops a loin
`))
	if err == nil {
		err = d.Set("blocks.count", 14)
	}
	if err == nil {
		err = d.Append("lots", study.Fields{{"id", "farm-a"}, {"bought", "2026-02-27"}})
	}
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Print(string(d.Bytes()))
	// Output:
	// study: Salt early or late
	// blocks: {what: loin, count: 14}   # two chops a loin
	// lots:
	//   - {id: farm-a, bought: 2026-02-27}
}
