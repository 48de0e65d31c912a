package web

import (
	"database/sql"
	"net/url"
	"strings"
	"testing"
)

// Whoever edits the notebook behind trivet's back is found out at closing.
func TestChangedAndLostAnswersAreTold(t *testing.T) {
	k := openKitchen(t, Options{})
	p := newPanel(t, k.app.room, 6)
	for _, b := range p.ballots {
		if err := b.send(k.http.Client(), k.http.URL); err != nil {
			t.Fatal(err)
		}
	}
	db, err := sql.Open("sqlite", "file:"+k.path+"?_pragma=busy_timeout(5000)")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	codes := p.tasting.Document.Session.Trays[0].Codes
	chosen, other := p.ballots[0].form.Get("choice"), codes[0]
	if other == chosen {
		other = codes[1]
	}
	change, err := db.Exec(`UPDATE ballot SET body = CAST(replace(CAST(body AS TEXT), '"choice":["' || ? || '"]', '"choice":["' || ? || '"]') AS BLOB) WHERE assessor = ?`, chosen, other, p.ballots[0].seat)
	if err != nil {
		t.Fatal(err)
	}
	if n, _ := change.RowsAffected(); n == 0 {
		t.Fatal("nothing was changed")
	}
	if _, err := db.Exec(`DELETE FROM ballot WHERE assessor = ? AND CAST(body AS TEXT) LIKE '%"answer"%'`, p.ballots[1].seat); err != nil {
		t.Fatal(err)
	}
	lead := k.device()
	page := lead.post("/tastings/"+p.tasting.ID+"/close", url.Values{"passphrase": {passphrase}, "sure": {"yes"}})
	k.has(page, 200, "1 answer was changed in the notebook", "1 answer was taken out of the notebook", "Do not rely on this result")

	// And an untouched tasting is not suspected.
	q := newPanel(t, k.app.room, 6)
	for _, b := range q.ballots[:5] {
		if err := b.send(k.http.Client(), k.http.URL); err != nil {
			t.Fatal(err)
		}
	}
	page = lead.post("/tastings/"+q.tasting.ID+"/close", url.Values{"passphrase": {passphrase}, "sure": {"yes"}})
	k.has(page, 200, "5 of 6 ballots")
	if strings.Contains(page.body, "Do not rely") {
		t.Error("an untouched tasting is suspected")
	}
}
