package cli

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"trivet/fault"
	"trivet/tasting"
)

// jsonObject parses a command's JSON result.
func jsonObject(t *testing.T, text string) map[string]any {
	t.Helper()
	var m map[string]any
	if err := json.Unmarshal([]byte(text), &m); err != nil {
		t.Fatalf("%v in %s", err, text)
	}
	return m
}

func TestTasteSizeJSON(t *testing.T) {
	out, err := do(t, true, newTaste, "size", "--method", "triangle", "--alpha", "0.05", "--beta", "0.10", "--pd", "0.30")
	if err != nil {
		t.Fatal(err)
	}
	m := jsonObject(t, out)
	for key, want := range map[string]any{"method": "triangle", "for": "difference", "n": 53.0, "n_for_good": 57.0, "critical": 24.0, "alpha": 0.05, "beta": 0.1, "pd": 0.3} {
		if m[key] != want {
			t.Errorf("%s is %v, want %v", key, m[key], want)
		}
	}
	if p, ok := m["power"].(float64); !ok || p < 0.9 {
		t.Errorf("power %v", m["power"])
	}
	if _, ok := m["d_prime"].(float64); !ok {
		t.Errorf("d_prime %v", m["d_prime"])
	}
	// 30% is 0.30, to the last bit.
	percent, err := do(t, true, newTaste, "size", "--method", "triangle", "--alpha", "5%", "--beta", "10%", "--pd", "30%")
	if err != nil || percent != out {
		t.Errorf("in per cent: %v\n%s", err, percent)
	}
}

func TestTasteScoreJSON(t *testing.T) {
	out, err := do(t, true, newTaste, "score", "--method", "triangle", "--n", "24", "--correct", "13")
	if err != nil {
		t.Fatal(err)
	}
	m := jsonObject(t, out)
	for _, key := range []string{"method", "n", "correct", "guess_probability", "p_value", "critical", "pd", "pd_raw", "pd_low", "pd_high", "d_prime", "d_prime_low", "d_prime_high", "verdict", "says"} {
		if _, ok := m[key]; !ok {
			t.Errorf("no %s in %s", key, out)
		}
	}
	if m["verdict"] != "different" || m["critical"] != 13.0 || m["pd"] != 0.3125 {
		t.Errorf("%v", m)
	}
	// All right: d′ and its upper limit are infinite, which JSON writes null.
	out, err = do(t, true, newTaste, "score", "--method", "2-afc", "--n", "8", "--correct", "8")
	if err != nil {
		t.Fatal(err)
	}
	if m := jsonObject(t, out); m["d_prime"] != nil || m["d_prime_high"] != nil || m["d_prime_low"] == nil || m["pd_high"] != 1.0 {
		t.Errorf("%s", out)
	}
}

func TestTasteWrongUse(t *testing.T) {
	for _, tc := range []struct {
		args string
		code fault.Code
		kind fault.Kind
	}{
		{"size --method triangle --pd 0.3 --dprime 1", "effect-twice", fault.Usage},
		{"size --method triangle", "effect-missing", fault.Usage},
		{"size --pd 0.3", "flag-missing", fault.Usage},
		{"size --method trangle --pd 0.3", "method-unknown", fault.Usage},
		{"size --method a-not-a --pd 0.3", "effect-missing", fault.Usage},
		{"size --method comments --pd 0.3", "method-no-size", fault.Usage},
		{"size --method triangle --pd 30", "pd-range", fault.Usage},
		{"size --method triangle --pd 0.3 --alpha 0", "risk-range", fault.Usage},
		{"score --method triangle", "flag-missing", fault.Usage},
		{"score --method triangle --n 12 --correct 13", "count-range", fault.Content},
		{"score --method triangle --n 12 --correct -1", "count-range", fault.Content},
		{"score --method ranking --n 12 --correct 3", "method-not-choice", fault.Usage},
		{"score --method triangle --n 12 --correct 5 --for similarity", "effect-missing", fault.Usage},
		{"score --method triangle --n 12 --correct 5 --for fun", "aim-unknown", fault.Usage},
		{"score --method triangle --hits 3/4 --false-alarms 1/4", "method-not-response", fault.Usage},
		{"score --method a-not-a --hits 3/4", "flag", fault.Usage},
		{"score --method a-not-a --hits 5/4 --false-alarms 1/4", "count-range", fault.Content},
		{"score nowhere", "file-missing", fault.Usage},
		{"score --method triangle --table nowhere.csv", "", fault.Usage},
		{"ballots nowhere", "file-missing", fault.Usage},
		{"orders --method triangle --products a,b --assessors 6", "flag-missing", fault.Usage},
	} {
		out, err := do(t, true, newTaste, strings.Fields(tc.args)...)
		f := fault.As(err)
		if f == nil || f.Kind != tc.kind || (tc.code != "" && f.Code != tc.code) {
			t.Errorf("%s: %v", tc.args, err)
		}
		if out != "" {
			t.Errorf("%s: printed %q beside the error", tc.args, out)
		}
	}
}

func write(t *testing.T, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestTasteScoreTables(t *testing.T) {
	dir := t.TempDir()
	for _, tc := range []struct{ method, table, want string }{
		{"triangle", "assessor,correct,sureness\na,yes,3\nb,no,1\nc,1,2\nd,right,3\n", `"correct": 3`},
		{"a-not-a", "assessor;product;answer\na;A;A\nb;not A;not A\nc;A;A\nd;not A;A\n", `"hits": 1`},
		{"same-different", "assessor,pair,answer\na,same,same\nb,different,different\nc,same,different\nd,different,different\n", `"hit_rate": 1`},
		{"ranking", "assessor,product,rank\na,x,1\na,y,2\na,z,3\nb,x,1\nb,y,2\nb,z,3\nc,x,1\nc,y,2\nc,z,3\n", `"friedman": 6`},
		{"hedonic", "assessor,product,score\na,x,7\na,y,6\nb,x,8\nb,y,5\nc,x,6\nc,y,6\n", `"prefer_a": 2`},
		{"check-all", "assessor,product,word,checked\na,x,smoky,1\na,y,smoky,0\nb,x,smoky,1\nb,y,smoky,0\n", `"word": "smoky"`},
		{"comments", "assessor,product,comment\na,x,\"dry, salty\"\n", `"word": "salty"`},
		{"rated", "assessor,product,attribute,value\na,x,juicy,\"7,5\"\na,y,juicy,6\nb,x,juicy,8\nb,y,juicy,5\nc,x,juicy,6\nc,y,juicy,6\n", `"attribute": "juicy"`},
		{"just-about-right", "assessor,product,attribute,value\na,x,liking,7\na,x,salt,3\nb,x,liking,5\nb,x,salt,2\nc,x,liking,6\nc,x,salt,2\nd,x,liking,8\nd,x,salt,3\n", `"side": "too little"`},
	} {
		path := write(t, dir, tc.method+".csv", tc.table)
		for _, asJSON := range []bool{true, false} {
			out, err := do(t, asJSON, newTaste, "score", "--method", tc.method, "--table", path)
			if err != nil {
				t.Errorf("%s: %v", tc.method, err)
				continue
			}
			if asJSON && !strings.Contains(out, tc.want) {
				t.Errorf("%s: no %s in %s", tc.method, tc.want, out)
			}
			if strings.Contains(out, "NaN") || strings.Contains(out, "%!") {
				t.Errorf("%s prints %s", tc.method, out)
			}
		}
	}
	path := write(t, dir, "bad.csv", "assessor,correct\na,yes\nb,maybe\n")
	_, err := do(t, true, newTaste, "score", "--method", "triangle", "--table", path)
	if f := fault.As(err); f == nil || f.Code != "answer-unknown" || f.Line != 3 || f.Value != "maybe" {
		t.Errorf("%v", err)
	}
}

func TestTasteScoreRates(t *testing.T) {
	out, err := do(t, true, newTaste, "score", "--method", "a-not-a", "--hits", "30/40", "--false-alarms", "12/40")
	if err != nil {
		t.Fatal(err)
	}
	if m := jsonObject(t, out); m["verdict"] != "different" || m["hits"] != 30.0 || m["d_prime_low"] == nil {
		t.Errorf("%s", out)
	}
}

func TestTasteSequential(t *testing.T) {
	path := write(t, t.TempDir(), "s.csv", "assessor,correct\na,1\nb,1\nc,1\nd,1\ne,1\nf,0\n")
	out, err := do(t, true, newTaste, "score", "--method", "triangle", "--table", path, "--sequential", "--pd", "0.5")
	if err != nil {
		t.Fatal(err)
	}
	if m := jsonObject(t, out); m["step"] != "difference" || m["n"] != 5.0 {
		t.Errorf("%s", out)
	}
}

// A tasting from dealing to scoring, as a kitchen runs it.
func TestTasteFromOrdersToClose(t *testing.T) {
	t.Setenv("TRIVET_PASSPHRASE", "four plain kitchen words")
	dir := t.TempDir()
	folder := filepath.Join(dir, "tasting")
	pieces := write(t, dir, "pieces.csv", "piece,block,product,probed\nL01-left,L01,sear-last,no\nL01-right,L01,sear-first,no\nL02-left,L02,sear-last,no\nL02-right,L02,sear-first,no\n")
	people := "assessor,consents,avoids,not_undercooked\n"
	for i := range 13 {
		people += fmt.Sprintf("P%02d,yes,,\n", i+1)
	}
	people += "P14,yes,milk,\nP15,no,,\n"
	orders := []string{"orders", "--method", "triangle", "--products", "sear-last,sear-first", "--people", write(t, dir, "people.csv", people),
		"--pieces", pieces, "--portions", "14", "--allergens", "milk", "--pd", "0.5", "--out", folder}
	out, err := do(t, true, newTaste, orders...)
	if err != nil {
		t.Fatal(err)
	}
	m := jsonObject(t, out)
	if m["assessors"] != 13.0 || len(m["excluded"].([]any)) != 2 {
		t.Errorf("%s", out)
	}
	if _, err := do(t, true, newTaste, orders...); fault.As(err) == nil || fault.As(err).Code != "file-exists" {
		t.Errorf("dealt twice into one folder: %v", err)
	}

	// Nothing but the lock is in the folder in clear, whatever a server or an
	// assessor opens there.
	for _, name := range []string{"tasting.json", "key.sealed.json"} {
		b, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			t.Fatal(err)
		}
		for _, secret := range []string{`"seed"`, `"portion"`, `"product":`} {
			if strings.Contains(string(b), secret) {
				t.Errorf("%s holds %s", name, secret)
			}
		}
	}
	for _, role := range []string{"server", "assessor", "reader"} {
		for _, asJSON := range []bool{true, false} {
			out, err := do(t, asJSON, newTaste, "ballots", folder, "--for", role)
			if err != nil || strings.Contains(out, "sear") || strings.Contains(out, "L01") {
				t.Errorf("%s sees %s (%v)", role, out, err)
			}
		}
	}
	sheet, err := do(t, true, newTaste, "ballots", folder, "--for", "preparer")
	if err != nil {
		t.Fatal(err)
	}
	piece := pieceOfEachCup(t, sheet)

	// Everyone finds the odd one but the last.
	table, err := do(t, false, newTaste, "ballots", folder, "--for", "answers")
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(table)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out, _ = do(t, true, newTaste, "ballots", folder, "--for", "server")
	var trays struct{ Trays []tasting.Tray }
	if err := json.Unmarshal([]byte(out), &trays); err != nil {
		t.Fatal(err)
	}
	for i, tr := range trays.Trays {
		odd := 0
		for k := range 3 {
			a, b := (k+1)%3, (k+2)%3
			if piece[tr.Tray][tr.Codes[a]] == piece[tr.Tray][tr.Codes[b]] {
				odd = k
			}
		}
		if i == 12 {
			odd = (odd + 1) % 3
		}
		rows[i+1][2], rows[i+1][3] = tr.Codes[odd], "3"
	}
	var b strings.Builder
	if err := csv.NewWriter(&b).WriteAll(rows); err != nil {
		t.Fatal(err)
	}
	answers := write(t, dir, "answers.csv", b.String())

	t.Setenv("TRIVET_PASSPHRASE", "not the right words")
	if _, err := do(t, true, newTaste, "close", folder, "--answers", answers); fault.As(err) == nil || fault.As(err).Code != "key-locked" {
		t.Errorf("wrong passphrase: %v", err)
	}
	t.Setenv("TRIVET_PASSPHRASE", "four plain kitchen words")
	out, err = do(t, true, newTaste, "close", folder, "--answers", answers, "--deviation", "3: cup spilt and poured again")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out, "tray 3: cup spilt") {
		t.Errorf("the deviation is not shown: %s", out)
	}
	m = jsonObject(t, out)
	choice := m["score"].(map[string]any)["choice"].(map[string]any)
	if m["verified"] != true || m["redealt"] != true || choice["correct"] != 12.0 || choice["n"] != 13.0 || choice["verdict"] != "different" {
		t.Errorf("%s", out)
	}
	if _, err := do(t, true, newTaste, "close", folder, "--answers", answers); fault.As(err) == nil || fault.As(err).Code != "tasting-closed" {
		t.Errorf("closed twice: %v", err)
	}
	if again, err := do(t, true, newTaste, "score", folder); err != nil || jsonObject(t, again)["correct"] != 12.0 {
		t.Errorf("scored from the folder: %v %s", err, again)
	}
}

// pieceOfEachCup reads a carve-and-plate sheet: tray → code → piece.
func pieceOfEachCup(t *testing.T, text string) map[int]map[string]string {
	t.Helper()
	var sheet tasting.PreparerSheet
	if err := json.Unmarshal([]byte(text), &sheet); err != nil {
		t.Fatal(err)
	}
	out := map[int]map[string]string{}
	for _, w := range sheet.Waves {
		for _, p := range w.Pieces {
			for _, c := range p.Portions {
				if out[c.Tray] == nil {
					out[c.Tray] = map[string]string{}
				}
				out[c.Tray][c.Cup] = p.Piece
			}
		}
	}
	return out
}

func TestTasteSizePlansSetsAndPieces(t *testing.T) {
	out, err := do(t, true, newTaste, "size", "--method", "triangle", "--pd", "0.3", "--sets", "3", "--gamma", "0.2", "--portions", "10", "--before", "mass")
	if err != nil {
		t.Fatal(err)
	}
	m := jsonObject(t, out)
	// 57 answers × (1 + 2×0.2) / 3 = 26.6, in blocks of 6: 30.
	if r := m["replicated"].(map[string]any); r["assessors"] != 30.0 {
		t.Errorf("%v", r)
	}
	// 90 sets, 9 portions of each product for six sets.
	if b := m["budget"].(map[string]any); b["sets"] != 90.0 || b["sets_a_wave"] != 6.0 || b["pieces_a_product"] != 15.0 {
		t.Errorf("%v", b)
	}
	text, err := do(t, false, newTaste, "size", "--method", "triangle", "--pd", "0.3", "--portions", "10", "--hold", "30", "--curve", "--assessors", "30")
	if err != nil || !strings.Contains(text, "To cook: 15 pieces") {
		t.Errorf("%s %v", text, err)
	}
}

func TestTasteMethodsAreListed(t *testing.T) {
	if !slices.Contains(methodNames(), "tetrad") {
		t.Error(methodNames())
	}
}
