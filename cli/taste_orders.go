package cli

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"trivet/bench"
	"trivet/fault"
	"trivet/safety"
	"trivet/tasting"
)

type tasteOrdersOptions struct {
	goalFlags
	products       []string
	allergens      []string
	undercooked    bool
	assessors      int
	people         string
	rounds         int
	pieces         string
	portions       int
	setsAWave      int
	apart          bool
	attributes     []string
	out            string
	force          bool
	passphraseFile string
}

func newTasteOrders(env *Env) *cobra.Command {
	var o tasteOrdersOptions
	c := &cobra.Command{
		Use:   "orders --method METHOD --products A,B (--assessors N | --people FILE) --out FOLDER",
		Short: "Deal serving orders and codes, and lock the key",
		Long: `Draws balanced serving orders, three-digit codes and portions from the system's
cryptographic source, and writes a folder with the tasting and its key. The
key is sealed to the lead's passphrase; the tasting holds only the hash of
salt and key, so nobody can change the key later without it being seen.

Products are named in order: for 2-afc and 3-afc the second is the one claimed
to have more of the attribute. The alpha, beta, pd or dprime and aim given here
are the rule by which the tasting will be scored.

People come from a CSV with the columns assessor, consents (yes or no), avoids
(allergen codes) and not_undercooked (yes or no). Pieces come from a CSV with
the columns piece, block, product and probed; blocks are cut as waves.`,
		Example: `  trivet taste orders --method triangle --products sear-last,sear-first --assessors 24 --out tasting
  trivet taste orders --method triangle --products sear-last,sear-first --people people.csv \
      --pieces pieces.csv --portions 10 --pd 0.30 --beta 0.10 --out tasting`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := o.check(cmd); err != nil {
				return err
			}
			return runTasteOrders(env, o)
		},
	}
	o.register(c)
	f := c.Flags()
	f.StringSliceVar(&o.products, "products", nil, "the products, first to last (required)")
	f.StringSliceVar(&o.allergens, "allergens", nil, "allergen codes of the food: "+strings.Join(safety.AllergenCodes(), ", "))
	f.BoolVar(&o.undercooked, "undercooked", false, "a product is served below a consumer temperature figure")
	f.IntVar(&o.assessors, "assessors", 0, "number of assessors, named P01, P02, …")
	f.StringVar(&o.people, "people", "", "CSV of assessors")
	f.IntVar(&o.rounds, "rounds", 1, "sets for each assessor")
	f.StringVar(&o.pieces, "pieces", "", "CSV of cooked pieces")
	f.IntVar(&o.portions, "portions", 0, "portions carved from a piece, with --pieces")
	f.IntVar(&o.setsAWave, "sets-a-wave", 0, "most trays before the next block is cut; 0: spread evenly over the blocks")
	f.BoolVar(&o.apart, "like-apart", false, "take like samples of a set from different pieces")
	f.StringSliceVar(&o.attributes, "attributes", nil, "attributes to rate or words to tick")
	f.StringVar(&o.out, "out", "", "folder to write (required)")
	f.BoolVar(&o.force, "force", false, "replace a tasting in the folder that has no answers")
	f.StringVar(&o.passphraseFile, "passphrase-file", "", "file whose first line is the lead's passphrase")
	return c
}

// ordersOutput is what is said of a dealt tasting; no part of it is secret.
type ordersOutput struct {
	Tasting    string              `json:"tasting"`
	Method     string              `json:"method"`
	Folder     string              `json:"folder"`
	Commitment string              `json:"commitment"`
	Sets       int                 `json:"sets"`
	Assessors  int                 `json:"assessors"`
	Excluded   []tasting.Exclusion `json:"excluded"`
	Cautions   []safety.Caution    `json:"cautions"`
	Notes      []fault.Note        `json:"notes"`
}

func runTasteOrders(env *Env, o tasteOrdersOptions) error {
	if o.out == "" {
		return fault.BadUsage("flag-missing", "--out is needed").WithFix("name the folder to write")
	}
	setup := tasting.Setup{Method: o.method, Rounds: o.rounds, LikeApart: o.apart}
	for _, a := range o.allergens {
		if !slices.Contains(safety.AllergenCodes(), a) {
			return fault.BadUsage("allergen-unknown", "no allergen has this code").On("--allergens", a).WithFix("the codes are %s", strings.Join(safety.AllergenCodes(), ", "))
		}
	}
	for _, p := range o.products {
		setup.Products = append(setup.Products, tasting.Product{ID: strings.TrimSpace(p), Allergens: o.allergens, Undercooked: o.undercooked})
	}
	if len(setup.Products) == 0 {
		return fault.BadUsage("flag-missing", "--products is needed").WithFix("name them, separated by commas")
	}
	people, notes, err := o.readPeople(env)
	if err != nil {
		return err
	}
	var excluded []tasting.Exclusion
	setup.Assessors, excluded = tasting.Eligible(people, setup.Products, safety.SameAllergen)
	if o.pieces != "" {
		waves, more, err := o.readPieces(env, setup.Products)
		if err != nil {
			return err
		}
		setup.Waves = waves
		notes = append(notes, more...)
	}
	if err := o.mayWrite(); err != nil {
		return err
	}
	pass, err := env.passphrase(o.passphraseFile)
	if err != nil {
		return err
	}
	doc, key, salt, more, err := tasting.NewDocument(setup, o.rule(), o.attributes, env.Now(), env.Random)
	if err != nil {
		return err
	}
	sealed, err := tasting.SealKey(doc.Session.Lock, key, salt, pass, env.Random)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(o.out, 0o755); err != nil {
		return fault.New("folder", "the folder could not be made").In(o.out).Wrap(err)
	}
	if err := writeJSONFile(filepath.Join(o.out, sealedKeyFile), sealed, o.force); err != nil {
		return err
	}
	if err := writeJSONFile(filepath.Join(o.out, tastingFile), doc, o.force); err != nil {
		return err
	}
	out := ordersOutput{Tasting: key.Tasting, Method: key.Method, Folder: o.out, Commitment: doc.Session.Lock.Commitment,
		Sets: len(key.Sets), Assessors: len(setup.Assessors), Excluded: excluded, Notes: append(notes, more...)}
	for _, c := range safety.Cautions(safety.Facts{Eaten: true, Tasting: true, Allergens: o.allergens}) {
		if c.ShownAt(safety.OnTraySide) {
			out.Cautions = append(out.Cautions, c)
		}
	}
	if env.JSON {
		return env.PrintJSON(out)
	}
	env.Printf("Dealt %d sets for %d assessors into %s.\nLocked: %s\nPublish this hash before the first tray goes out.\n", out.Sets, out.Assessors, o.out, out.Commitment)
	for _, e := range excluded {
		env.Printf("Not served: %s %s.\n", e.Assessor, e.Why)
	}
	env.Printf("\nNext: trivet taste ballots %s --for preparer, --for server, --for assessor.\n", o.out)
	for _, c := range out.Cautions {
		env.Printf("\n%s", wrapped("", c.Title+": "+c.Text, 78))
	}
	env.PrintNotes(out.Notes)
	return nil
}

// mayWrite refuses to replace a tasting that has answers.
func (o tasteOrdersOptions) mayWrite() error {
	path := filepath.Join(o.out, tastingFile)
	if _, err := os.Lstat(path); err != nil {
		return nil
	}
	if !o.force {
		return fault.BadUsage("file-exists", "the folder holds a tasting already").In(path).WithFix("choose another with --out, or replace it with --force")
	}
	d, err := readTasting(o.out)
	if err != nil {
		return err
	}
	if len(d.Session.Answers) > 0 || d.Session.Closed != nil {
		return fault.New("tasting-has-answers", "the tasting in this folder has answers: a new key would throw them away").In(path).WithFix("choose another folder")
	}
	return nil
}

func (o tasteOrdersOptions) readPeople(env *Env) ([]tasting.Assessor, []fault.Note, error) {
	if (o.people != "") == (o.assessors > 0) {
		return nil, nil, fault.BadUsage("flag-missing", "the assessors are given by number or by file").On("--assessors", strconv.Itoa(o.assessors)).WithFix("give --assessors N or --people FILE")
	}
	if o.people == "" {
		if o.assessors > 10_000 {
			return nil, nil, fault.BadUsage("assessors-range", "more than 10,000 assessors").On("--assessors", strconv.Itoa(o.assessors))
		}
		var out []tasting.Assessor
		for i := range o.assessors {
			out = append(out, tasting.Assessor{ID: fmt.Sprintf("P%02d", i+1), Consents: true})
		}
		return out, []fault.Note{fault.Notef("people-not-asked", "consent, allergens and who should not be served undercooked food were not recorded: ask every assessor before the first tray")}, nil
	}
	t, err := readTableFile(env, o.people)
	if err != nil {
		return nil, nil, err
	}
	who, err := t.Column("--people", "assessor")
	if err != nil {
		return nil, nil, err
	}
	consents, err := t.Column("--people", "consents")
	if err != nil {
		return nil, nil, err
	}
	avoids, _ := t.Column("", "avoids")
	hasAvoids := slices.ContainsFunc(t.Columns, func(c string) bool { return strings.EqualFold(c, "avoids") })
	under, _ := t.Column("", "not_undercooked")
	hasUnder := slices.ContainsFunc(t.Columns, func(c string) bool { return strings.EqualFold(c, "not_undercooked") })
	var notes []fault.Note
	if !hasAvoids {
		notes = append(notes, fault.Notef("allergens-not-asked", "the table has no column avoids: ask every assessor about allergens before the first tray"))
	}
	var out []tasting.Assessor
	for i, r := range t.Rows {
		a := tasting.Assessor{ID: r[who]}
		if a.Consents, err = yesNo(t, i, consents); err != nil {
			return nil, nil, err
		}
		if hasAvoids {
			a.Avoids = strings.FieldsFunc(strings.ToLower(r[avoids]), func(c rune) bool { return c == ' ' || c == ';' || c == ',' })
			for _, code := range a.Avoids {
				if !slices.Contains(safety.AllergenCodes(), code) {
					return nil, nil, fault.New("allergen-unknown", "no allergen has this code").In(t.Name).At(t.Lines[i], 0).On("avoids", code).WithFix("the codes are %s", strings.Join(safety.AllergenCodes(), ", "))
				}
			}
		}
		if hasUnder && r[under] != "" {
			if a.NotUndercooked, err = yesNo(t, i, under); err != nil {
				return nil, nil, err
			}
		}
		out = append(out, a)
	}
	return out, notes, nil
}

func yesNo(t *bench.DataTable, row, col int) (bool, error) {
	switch strings.ToLower(t.Rows[row][col]) {
	case "yes", "y", "1", "true":
		return true, nil
	case "no", "n", "0", "false":
		return false, nil
	}
	return false, fault.New("yes-no", "this is neither yes nor no").In(t.Name).At(t.Lines[row], 0).On(t.Columns[col], t.Rows[row][col]).WithFix("write yes or no")
}

func (o tasteOrdersOptions) readPieces(env *Env, products []tasting.Product) ([]tasting.Wave, []fault.Note, error) {
	if o.portions < 1 {
		return nil, nil, fault.BadUsage("flag-missing", "--portions is needed with --pieces").WithFix("say how many portions one piece gives")
	}
	t, err := readTableFile(env, o.pieces)
	if err != nil {
		return nil, nil, err
	}
	var cols [3]int
	for i, name := range []string{"piece", "block", "product"} {
		if cols[i], err = t.Column("--pieces", name); err != nil {
			return nil, nil, err
		}
	}
	probed := slices.IndexFunc(t.Columns, func(c string) bool { return strings.EqualFold(c, "probed") })
	var pieces []tasting.PieceForTasting
	for i, r := range t.Rows {
		p := tasting.PieceForTasting{Label: r[cols[0]], Block: r[cols[1]], Product: r[cols[2]]}
		if !slices.ContainsFunc(products, func(q tasting.Product) bool { return q.ID == p.Product }) {
			return nil, nil, fault.New("product-id", "no product of this tasting has that name").In(t.Name).At(t.Lines[i], 0).On("product", p.Product).WithFix("the products are %s", strings.Join(o.products, ", "))
		}
		if probed >= 0 && r[probed] != "" {
			if p.Probed, err = yesNo(t, i, probed); err != nil {
				return nil, nil, err
			}
		}
		pieces = append(pieces, p)
	}
	waves, notes := tasting.WavesOf(products, pieces, o.portions)
	for i := range waves {
		waves[i].Sets = o.setsAWave
	}
	if len(waves) == 0 {
		return nil, nil, fault.New("portions-short", "no block has a piece of every product").In(t.Name).WithFix("list at least one piece of each product for a block")
	}
	return waves, notes, nil
}
