package publish_test

import (
	"bytes"
	"fmt"
	"log"
	"strings"

	"trivet/publish"
)

// A report with nothing measured yet still says so, in one file.
func ExampleReport_WriteHTML() {
	r := publish.Report{
		Title: "Sear first or sear last",
		Claim: publish.Claim{Says: "Searing a chop first keeps it juicier than searing it last"},
	}
	var page bytes.Buffer
	if err := r.WriteHTML(&page); err != nil {
		log.Fatal(err)
	}
	for _, want := range []string{"<h1>Sear first or sear last</h1>", "The plan was not sealed", "<script"} {
		fmt.Println(strings.Contains(page.String(), want))
	}
	// Output:
	// true
	// true
	// false
}
