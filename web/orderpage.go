package web

import (
	"encoding/hex"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"trivet/answer"
	"trivet/bench"
	"trivet/design"
	"trivet/fault"
	"trivet/study"
)

// A run order is drawn by lot, from a seed that somebody gives, or written in
// as it was drawn elsewhere.

// mostOrderRows is how many cooks a run order may have that is written in by
// form; longer ones are written in the document.
const mostOrderRows = 400

// manyPieces is from how many pieces on a row is typed rather than chosen.
const manyPieces = 120

// orderView is the page on which a run order is drawn or written in.
type orderView struct {
	ID, Title         string
	Sealed, CanDraw   bool
	HasOrder          bool
	DrawSeed          string
	DrawError         *fault.Error
	Rows              []orderRow
	Kind, Seed        string
	Kinds             []choice
	Pieces            []choice
	Treatments        []choice
	Typed             bool // pieces are typed, with suggestions
	Burners           bool // the order names burners
	Error             *fault.Error
	Seen              string
	Theirs            []string // the order that somebody else saved meanwhile
	TooMany, NoBlocks bool
}

// orderRow is one cook of the order as it stands in the form.
type orderRow struct {
	N                              int
	Piece, Treatment, Burner, Code string
	Wrong                          *fault.Error
}

func (r orderRow) empty() bool {
	return r.Piece == "" && r.Treatment == "" && r.Code == "" && r.Burner == ""
}

func (d *Desk) orderPage(w http.ResponseWriter, r *http.Request) {
	d.showOrder(w, r, http.StatusOK, orderView{})
}

// showOrder shows the page; what v already says is what was typed and refused.
func (d *Desk) showOrder(w http.ResponseWriter, r *http.Request, status int, v orderView) {
	rec, err := d.nb.Record(r.Context(), r.PathValue("id"))
	if err != nil {
		d.s.fail(w, r, 0, err)
		return
	}
	s, words := rec.Study, answer.Words{Study: rec.Study}
	v.ID, v.Title, v.Sealed, v.HasOrder = s.ID, s.Title, rec.Seal != nil, len(s.Design.RunOrder) > 0
	v.CanDraw = rec.Seal == nil && len(s.Treatments) > 1
	v.Seen = stampOf(s.Design)
	v.Burners = slices.ContainsFunc(s.Design.RunOrder, func(x study.RunSlot) bool { return x.Burner != "" })
	for _, k := range design.Kinds() {
		v.Kinds = append(v.Kinds, choice{string(k), say("design-" + string(k))})
	}
	v.Treatments = choices("")
	for _, t := range s.Treatments {
		v.Treatments = append(v.Treatments, choice{t.ID, words.Treatment(t.ID)})
	}
	v.Pieces = choices("")
	for _, x := range orderPieces(s) {
		v.Pieces = append(v.Pieces, choice{x.Label, x.Label})
	}
	v.Typed = len(v.Pieces) > manyPieces
	if v.Rows == nil {
		v.Kind, v.Seed, v.Rows = s.Design.Kind, s.Design.Seed, orderRows(s)
	}
	if v.Kind == "" {
		v.Kind = string(kindFor(s))
	}
	v.TooMany, v.NoBlocks = len(v.Rows) > mostOrderRows, len(v.Rows) == 0
	d.render(w, r, status, "orderpage", frame{Title: say("order-title", s.Title), Invented: s.Invented, Study: s.ID, StudyName: s.Title, Script: "study"}, v)
}

// kindFor is the design that a page draws.
func kindFor(s *study.Study) design.Kind {
	if len(s.Treatments) == 2 {
		return design.Pairs
	}
	return design.CompleteBlocks
}

// orderRows are the cooks of the order, and empty ones for those that the plan
// has beyond it.
func orderRows(s *study.Study) []orderRow {
	perBlock := len(s.Treatments)
	if k := s.Blocks.Pieces; k > 0 && k < perBlock {
		perBlock = k
	}
	runs := slices.Clone(s.Design.RunOrder)
	slices.SortStableFunc(runs, func(a, b study.RunSlot) int { return a.Order - b.Order })
	var rows []orderRow
	for _, x := range runs {
		rows = append(rows, orderRow{len(rows) + 1, x.Piece, x.Treatment, x.Burner, x.Code, nil})
	}
	for len(rows) < min(s.Blocks.Count*perBlock, mostOrderRows+1) {
		rows = append(rows, orderRow{N: len(rows) + 1})
	}
	return rows
}

// orderPieces are the pieces that a run order may name: those listed for the
// comparison, else those that the order names or the plan would have.
func orderPieces(s *study.Study) []study.Piece {
	var out []study.Piece
	for _, x := range s.Pieces {
		if !x.Spare && x.Twin == "" {
			out = append(out, x)
		}
	}
	if len(out) > 0 {
		return out
	}
	for _, x := range s.Design.RunOrder {
		if x.Piece != "" {
			out = append(out, study.Piece{Label: x.Piece, Block: x.Block})
		}
	}
	if len(out) == 0 {
		for _, f := range plannedPieces(s, blockPrefix, false) {
			if len(f) == 2 { // no spare
				out = append(out, study.Piece{Label: fmt.Sprint(f[0].Value), Block: fmt.Sprint(f[1].Value)})
			}
		}
	}
	slices.SortFunc(out, func(a, b study.Piece) int { return strings.Compare(a.Label, b.Label) })
	return out
}

// setOrder draws a run order or takes one that somebody wrote in.
func (d *Desk) setOrder(w http.ResponseWriter, r *http.Request) {
	id := r.PathValue("id")
	defer d.writing(id)()
	if err := r.ParseForm(); err != nil {
		d.s.fail(w, r, 0, fault.New("form-bad", "%s", say("form-bad")).Wrap(err))
		return
	}
	var v orderView
	var err error
	for range mostTries {
		v = orderView{}
		if err = d.setOrderOnce(r, id, &v); err == nil || fault.As(err) == nil || fault.As(err).Code != "edited-meanwhile" || v.Theirs != nil {
			break
		}
	}
	if err == nil {
		http.Redirect(w, r, "/studies/"+id+"#order", http.StatusSeeOther)
		return
	}
	f := d.s.publicFault(err)
	status := statusOf(f)
	switch {
	case f.Code == "edited-meanwhile":
		status = http.StatusConflict
	case f.Code == "study-unknown":
		d.s.fail(w, r, 0, err)
		return
	}
	switch r.PostFormValue("do") {
	case "":
		d.showStudy(w, r, status, saved{Error: f, Form: "order"})
		return
	case "draw":
		v.DrawSeed, v.DrawError = r.PostFormValue("seed"), f
		if f.Code == "order-sealed" { // nor is there a form to draw with any more
			v.Error = f
		}
	default:
		if !slices.ContainsFunc(v.Rows, func(x orderRow) bool { return x.Wrong != nil }) {
			v.Error = f
		}
	}
	d.showOrder(w, r, status, v)
}

func (d *Desk) setOrderOnce(r *http.Request, id string, v *orderView) error {
	rec, doc, err := d.editable(r.Context(), id)
	if err != nil {
		return err
	}
	s := rec.Study
	var order study.Design
	what := ""
	if r.PostFormValue("do") == "write" {
		v.Kind, v.Seed, v.Rows = r.PostFormValue("kind"), strings.TrimSpace(r.PostFormValue("seed")), typedRows(r)
		if r.PostFormValue("seen") != stampOf(s.Design) {
			v.Theirs = append([]string{}, orderSays(s)...)
			return fault.New("edited-meanwhile", "%s", say("order-meanwhile")).WithFix("%s", say("order-meanwhile-fix"))
		}
		if order, err = writtenOrder(s, v); err != nil {
			return err
		}
		what = say("order-written", count(len(order.RunOrder), "cook", "cooks"))
	} else {
		if rec.Seal != nil {
			return fault.New("order-sealed", "%s", say("order-sealed")).WithFix("%s", say("order-sealed-fix"))
		}
		if order, err = d.drawnOrder(s, strings.TrimSpace(r.PostFormValue("seed"))); err != nil {
			return err
		}
		what = say("order-drawn", order.Seed)
	}
	if err := doc.Set("design", order.Fields()); err != nil {
		return err
	}
	if len(s.Design.RunOrder) == 0 {
		_, err = bench.Edit(r.Context(), d.nb, rec, doc.Bytes(), rec.CookFiles, d.s.opt.Now())
		return err
	}
	_, err = bench.Rewrite(r.Context(), d.nb, rec, doc.Bytes(), "plan", what, d.s.opt.Now())
	return err
}

// drawnOrder deals pieces to treatments at random from a seed; "" takes one by
// lot.
func (d *Desk) drawnOrder(s *study.Study, seed string) (study.Design, error) {
	if seed == "" {
		var b [16]byte
		if _, err := io.ReadFull(d.s.opt.Random, b[:]); err != nil {
			return study.Design{}, err
		}
		seed = hex.EncodeToString(b[:])
	}
	if len(seed) > 200 {
		return study.Design{}, fault.New("seed-long", "%s", say("seed-long")).On("seed", "").WithFix("%s", say("seed-long-fix"))
	}
	q := design.Request{Kind: kindFor(s), Blocks: s.Blocks.Count, Pieces: s.Blocks.Pieces, Seed: seed, NoThreeAlike: len(s.Treatments) > 2}
	for _, t := range s.Treatments {
		q.Treatments = append(q.Treatments, t.ID)
	}
	if s.Blocks.Count < 1 {
		return study.Design{}, fault.New("blocks-none", "%s", say("blocks-none")).On("blocks.count", "").WithFix("%s", say("blocks-none-fix"))
	}
	if q.BlockNames, q.PieceNames = listedBlocks(s); q.BlockNames == nil {
		for i := range s.Blocks.Count {
			name := fmt.Sprintf("%s%02d", blockPrefix, i+1)
			q.BlockNames = append(q.BlockNames, name)
			var pieces []string
			for k := range mainPieces(s) {
				pieces = append(pieces, name+"-"+lettered(k))
			}
			q.PieceNames = append(q.PieceNames, pieces)
		}
	}
	plan, err := design.Make(q)
	if err != nil {
		return study.Design{}, err
	}
	return bench.DesignOf(plan), nil
}

// listedBlocks are the blocks and pieces that the study lists, spares and
// twins left out: none where they are not as many as the plan says.
func listedBlocks(s *study.Study) (blocks []string, pieces [][]string) {
	for _, x := range s.Pieces {
		if x.Spare || x.Twin != "" {
			continue
		}
		i := slices.Index(blocks, x.Block)
		if i < 0 {
			i = len(blocks)
			blocks, pieces = append(blocks, x.Block), append(pieces, nil)
		}
		pieces[i] = append(pieces[i], x.Label)
	}
	if len(blocks) != s.Blocks.Count || slices.ContainsFunc(pieces, func(p []string) bool { return len(p) != mainPieces(s) }) {
		return nil, nil
	}
	return blocks, pieces
}

// typedRows are the rows of the form as they were sent.
func typedRows(r *http.Request) []orderRow {
	rows := []orderRow{}
	for n := 1; n <= mostOrderRows; n++ {
		at := ":" + strconv.Itoa(n)
		if !r.PostForm.Has("piece" + at) {
			break
		}
		get := func(field string) string { return strings.TrimSpace(r.PostFormValue(field + at)) }
		rows = append(rows, orderRow{n, get("piece"), get("treatment"), get("burner"), get("code"), nil})
	}
	return rows
}

// writtenOrder reads an order that was written in; rows left empty are no
// cooks. Whatever is wrong is put beside its row.
func writtenOrder(s *study.Study, v *orderView) (study.Design, error) {
	out := study.Design{Kind: v.Kind, Seed: v.Seed}
	if !slices.Contains(design.Kinds(), design.Kind(v.Kind)) {
		return out, fault.New("form-bad", "%s", say("form-bad")).On("kind", v.Kind)
	}
	block := map[string]string{}
	for _, x := range orderPieces(s) {
		block[x.Label] = x.Block
	}
	first := map[string]int{}
	var wrong *fault.Error
	for i := range v.Rows {
		row := &v.Rows[i]
		if row.empty() {
			continue
		}
		bad := func(code fault.Code, what, fix string) {
			row.Wrong = fault.New(code, "%s", what).On(say("order-cook", row.N), row.Piece).WithFix("%s", fix)
			if wrong == nil {
				wrong = row.Wrong
			}
		}
		at, known := block[row.Piece]
		switch {
		case row.Piece == "":
			bad("order-piece", say("order-piece-none"), say("order-piece-fix"))
		case !known:
			bad("order-piece", say("order-piece-unknown", row.Piece), say("order-piece-unknown-fix"))
		case first[row.Piece] > 0:
			bad("order-twice", say("order-twice", row.Piece, first[row.Piece]), say("order-twice-fix"))
		case entryIn(s, "treatments", row.Treatment) == nil:
			bad("order-treatment", say("order-treatment-none"), say("order-treatment-fix"))
		}
		first[row.Piece] = row.N
		out.RunOrder = append(out.RunOrder, study.RunSlot{Order: len(out.RunOrder) + 1, Block: at, Piece: row.Piece, Treatment: row.Treatment, Burner: row.Burner, Code: row.Code})
	}
	switch {
	case wrong != nil:
		return out, wrong
	case len(out.RunOrder) == 0:
		return out, fault.New("order-empty", "%s", say("order-empty")).WithFix("%s", say("order-piece-fix"))
	}
	return out, nil
}

// orderSays is an order a line for each cook.
func orderSays(s *study.Study) []string {
	words := answer.Words{Study: s}
	var out []string
	for _, x := range s.Design.RunOrder {
		out = append(out, strings.Join(strings.Fields(fmt.Sprint(x.Order, ": ", x.Piece, ", ", words.Treatment(x.Treatment), " ", x.Code)), " "))
	}
	return out
}
