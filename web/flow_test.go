package web

import (
	"context"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/uuid"

	"trivet/bench"
	"trivet/tasting"
)

// The whole of a tasting by forms alone, as a browser without scripts does
// it.
func TestATastingFromTheFirstPageToTheScore(t *testing.T) {
	k := openKitchen(t, Options{})
	lead := k.device()
	k.has(lead.get("/"), 200, "No tasting yet", "Set up a tasting")
	k.has(lead.get("/tastings/new"), 200, `value="Blind tasting"`, "late-salt\nearly-salt", `value="0.3"`)

	form := url.Values{"study": {"salted-early-or-late"}, "question": {"taste"}, "title": {"Potatoes"}, "method": {"triangle"}, "products": {"late-salt\r\nearly-salt"},
		"assessors": {"6"}, "rounds": {"1"}, "alpha": {"0.05"}, "beta": {"0.10"}, "pd": {"0.30"}, "aim": {"difference"}, "allergens": {"celery"},
		"passphrase": {passphrase}, "passphrase2": {passphrase}}
	p := lead.post("/tastings/new", form)
	k.has(p, 200, "Locked", "0 of 6 ballots in", "/carve/", "/trays/", "P06", "at least 5 of 6")
	id := strings.TrimPrefix(p.url, "/tastings/")
	ta, err := k.app.room.Tasting(id)
	if err != nil {
		t.Fatal(err)
	}
	secrets := k.app.vault.of(id)

	server := k.device()
	trays := "/trays/" + secrets.Token(bench.Place{Role: tasting.Server})
	k.has(server.get(trays), 200, "wait: has not agreed yet", "celery")

	// The preparer sees what is in the cups, and may then do nothing blind.
	preparer := k.device()
	k.has(preparer.get("/carve/"+secrets.carve), 200, "late-salt", "early-salt", "neither serves nor tastes")
	k.has(preparer.get(trays), 403, "used by the preparer")
	k.has(preparer.get(seatLink(secrets.TastingSecrets, "P01")), 403, "used by the preparer")
	k.has(server.get("/carve/"+secrets.carve), 403, "used by the server")

	// P01 to P04 answer rightly; P05 cannot eat celery; P06 answers and
	// withdraws.
	right := map[string]string{}
	for _, s := range secrets.Key.Sets {
		count := map[string]int{}
		for _, c := range s.Cups {
			count[c.Product]++
		}
		for _, c := range s.Cups {
			if count[c.Product] == 1 {
				right[s.ID] = c.Code
			}
		}
	}
	yes := url.Values{"consents": {"yes"}}
	for _, seat := range []string{"P01", "P02", "P03", "P04", "P06"} {
		d := k.device()
		link := seatLink(secrets.TastingSecrets, seat)
		k.has(d.get(link), 200, "Before you taste", "celery")
		k.has(d.post(link+"/door", url.Values{}), 422, "One question is still open")
		p := d.post(link+"/door", yes)
		k.has(p, 200, "Set 1 of 1", "Send and go on")
		ballot := k.form(p)
		if seat == "P01" {
			// Without a choice the answer is refused and the typing is kept.
			ballot.Set("comment", "soft")
			k.has(d.post(link+"/answer", ballot), 422, "guessing if need be", ">soft</textarea>")
		}
		ballot.Set("choice", right[ballot.Get("set")])
		ballot.Set("sureness", "3")
		if seat == "P06" {
			ballot.Set("comment", "tastes of words that go away")
		}
		k.has(d.post(link+"/answer", ballot), 200, "All your answers are in")
		k.has(d.post(link+"/answer", ballot), 200, "All your answers are in") // again: harmless
		if seat == "P02" {
			other := k.form(shown{body: p.body})
			other.Set("id", uuid.NewString())
			other.Set("choice", ballot.Get("choice"))
			other.Set("comment", "changed my mind")
			k.has(d.post(link+"/answer", other), 409, "already has an answer", "changed my mind")
		}
		if seat == "P06" {
			k.has(d.post(link+"/withdraw", url.Values{}), 422, "not confirmed")
			k.has(d.post(link+"/withdraw", url.Values{"sure": {"yes"}}), 200, "Ballots removed: 1")
			k.has(d.get(link), 200, "were removed")
			k.has(d.post(link+"/answer", ballot), 410, "withdrawn")
		}
	}
	five := k.device()
	link5 := seatLink(secrets.TastingSecrets, "P05")
	p = five.get(link5)
	k.has(five.post(link5+"/answer", url.Values{"id": {uuid.NewString()}, "set": {setOf(ta, "P05")}, "choice": {codesOf(ta, "P05")[0]}}), 403, "has not agreed")
	k.has(five.post(link5+"/door", url.Values{"consents": {"yes"}, "avoids": {"celery"}}), 200, "something you cannot eat")
	k.has(five.get(link5), 200, "will not be served")
	k.has(server.get(trays), 200, "do not serve", "answered")
	k.has(server.post(trays, url.Values{"tray": {"2"}, "what": {"a cup was spilt"}}), 200)
	k.has(server.post(trays, url.Values{"tray": {"99"}, "what": {"a cup fell"}}), 422, "a cup fell")

	// Closing with a wrong passphrase changes nothing.
	k.has(lead.post("/tastings/"+id+"/close", url.Values{"passphrase": {"not these words"}, "sure": {"yes"}}), 403, "does not open this key")
	k.has(lead.post("/tastings/"+id+"/close", url.Values{"passphrase": {passphrase}}), 422, "tick that everybody is done")
	p = lead.post("/tastings/"+id+"/close", url.Values{"passphrase": {passphrase}, "sure": {"yes"}})
	wants(t, p.body, `<details class="how">`, "right answers of")
	k.has(p, 200, "Dealing again from the seed gives this key", secrets.Key.Seed, secrets.Salt, ta.Lock().Commitment,
		"4 of 4", "a cup was spilt", "1 assessor withdrew", "n: 4, correct: 4", "<svg", "Invented data")
	// (1/3)⁴ = 0.0123
	k.has(p, 200, "0.01235")

	late := k.device()
	k.has(late.post(link5+"/answer", url.Values{"id": {uuid.NewString()}, "set": {setOf(ta, "P05")}, "choice": {codesOf(ta, "P05")[0]}, "comment": {"late words"}}), 410, "closed", "late words")
	k.has(late.get("/watch/"+secrets.Token(bench.Place{Role: tasting.Reader})), 200, "4 of 4")

	// The history tells what happened and verifies; nobody's answer is in it.
	rec, err := k.store.Record(context.Background(), ta.Study)
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[string]int{}
	for _, e := range rec.Events {
		kinds[string(e.Kind)]++
		for _, secret := range []string{"P01", "P06", right[setOf(ta, "P01")], "soft"} {
			if strings.Contains(e.What+e.Detail, `"`+secret+`"`) {
				t.Errorf("the history holds %q: %s %s", secret, e.What, e.Detail)
			}
		}
	}
	for kind, want := range map[string]int{"tasting-opened": 1, "tasting-answered": 5, "tasting-withdrawn": 1, "tasting-refused": 3, "tasting-deviated": 1, "tasting-closed": 1} {
		if kinds[kind] != want {
			t.Errorf("the history has %d of %s, want %d", kinds[kind], kind, want)
		}
	}
	// A withdrawn answer is gone, from free pages too; the others are there.
	backup := filepath.Join(t.TempDir(), "backup.trivet")
	if _, err := k.store.Backup(context.Background(), backup); err != nil {
		t.Fatal(err)
	}
	copied, err := os.ReadFile(backup)
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(string(copied), "words that go away") || !strings.Contains(string(copied), `"soft"`) {
		t.Error("a withdrawn answer is still in the notebook's copy, or a kept one is not")
	}

	// Withdrawing after closing takes the answer out of the result.
	k.has(lead.post("/tastings/"+id+"/withdraw", url.Values{"seat": {"P01"}}), 200, "3 of 3", "2 assessors withdrew")
	k.has(lead.get("/"), 200, "Closed with 3 of 6 ballots")
}

func setOf(t *bench.Tasting, seat string) string {
	for _, x := range t.Document.Session.Trays {
		if x.Assessor == seat {
			return x.Set
		}
	}
	return ""
}

func codesOf(t *bench.Tasting, seat string) []string {
	for _, x := range t.Document.Session.Trays {
		if x.Assessor == seat {
			return x.Codes
		}
	}
	return nil
}

// Every method can be set up, answered and scored by its pages.
func TestEveryMethodByItsPages(t *testing.T) {
	t.Parallel()
	k := openKitchen(t, Options{})
	for _, m := range tasting.Methods() {
		d := m.Describe()
		t.Run(d.Name, func(t *testing.T) {
			k := &kitchen{T: t, app: k.app, http: k.http, store: k.store, log: k.log}
			plan := trianglePlan(6, 1)
			plan.Setup.Method, plan.Title = d.Name, d.Title
			switch d.Kind {
			case tasting.KindScale, tasting.KindChecks:
				plan.Attributes = []string{"salty", "firm"}
			}
			if d.Kind != tasting.KindChoice {
				plan.Rule = tasting.Rule{Alpha: 0.05}
			}
			plan.Facts.Tasting, plan.Facts.Eaten = true, true
			ta, secrets := k.open(plan)
			k.app.vault.keep(ta.ID, secrets)
			n := 0
			for i, seat := range ta.Assessors() {
				dev, link := k.device(), seatLink(secrets, seat)
				p := dev.post(link+"/door", url.Values{"consents": {"yes"}})
				for range 2 {
					if !strings.Contains(p.body, `name="set"`) {
						break
					}
					form := k.form(p)
					codes := ta.Document.Session.Trays[0].Codes
					for _, x := range ta.Document.Session.Trays {
						if x.Set == form.Get("set") {
							codes = x.Codes
						}
					}
					for j, c := range codes {
						form.Set("rank-"+c, number(float64(j+1)))
						form.Set("words-"+c, "firm and salty")
						for a := range 3 {
							form.Set("value-"+number(float64(a))+"-"+c, number(float64(1+(i+j+a)%5)))
						}
						if (i+j)%2 == 0 {
							form.Add("check-"+c, "salty")
						}
					}
					form.Set("choice", codes[0])
					if d.Name == "tetrad" {
						form["choice"] = codes[:2]
					}
					form.Set("response", map[string]string{"a-not-a": "A", "same-different": "same"}[d.Name])
					p = dev.post(link+"/answer", form)
					k.has(p, 200)
					n++
				}
			}
			lead := k.device()
			k.has(lead.get("/tastings/"+ta.ID+"/ballots"), 200, "QR code of the link", ta.Document.Session.Trays[0].Codes[0])
			pdf := lead.get("/tastings/" + ta.ID + "/ballots.pdf?paper=letter")
			if pdf.status != 200 || !strings.HasPrefix(pdf.body, "%PDF") {
				t.Errorf("the ballots as PDF: %d, %.20q", pdf.status, pdf.body)
			}
			p := lead.post("/tastings/"+ta.ID+"/close", url.Values{"passphrase": {passphrase}, "sure": {"yes"}})
			k.has(p, 200, "Dealing again from the seed gives this key", "may not claim")
			figures, caption := map[string]int{"hedonic": 1, "ranking": 1, "rated": 2, "comments": 0}, map[string]string{
				"hedonic": "<figcaption>Liking, 1 dislike extremely", "ranking": "<figcaption>Rank sums of 2 products by 6 assessors", "rated": "<figcaption>Salty of 2 products by 6 assessors"}
			if want, ok := figures[d.Name]; ok && strings.Count(p.body, "<figcaption>") != want {
				t.Errorf("%d figures, want %d", strings.Count(p.body, "<figcaption>"), want)
			}
			k.has(p, 200, caption[d.Name])
			if d.Kind == tasting.KindChoice {
				k.has(p, 200, "correct expected by guessing")
			}
			if n != len(ta.Document.Session.Trays) {
				t.Errorf("%d ballots sent for %d sets", n, len(ta.Document.Session.Trays))
			}
		})
	}
}
