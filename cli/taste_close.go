package cli

import (
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"trivet/fault"
	"trivet/tasting"
)

type tasteCloseOptions struct {
	answers        string
	withdraw       []string
	deviations     []string
	passphraseFile string
}

func newTasteClose(env *Env) *cobra.Command {
	var o tasteCloseOptions
	c := &cobra.Command{
		Use:   "close FOLDER --answers FILE",
		Short: "Take the ballots, open the key and score",
		Long: `Takes the ballots from a table, opens the key with the lead's passphrase,
verifies it against the hash published before the tasting, deals it again from
its seed, and scores by the rule fixed beforehand. Seed, salt and key are then
public. No ballot is taken after closing.

The table is the one "trivet taste ballots FOLDER --for answers" writes. A
ballot that cannot be taken is refused by name; correct the table and run
again.`,
		Example: `  trivet taste close tasting --answers answers.csv
  trivet taste close tasting --answers answers.csv --withdraw P07`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error { return runTasteClose(env, args[0], o) },
	}
	f := c.Flags()
	f.StringVar(&o.answers, "answers", "", "table of ballots, CSV, - for standard input (required)")
	f.StringSliceVar(&o.withdraw, "withdraw", nil, "assessors who asked for their answers to be removed")
	f.StringArrayVar(&o.deviations, "deviation", nil, "what did not go to plan, such as \"3: cup spilt\" for tray 3 (repeatable)")
	f.StringVar(&o.passphraseFile, "passphrase-file", "", "file whose first line is the lead's passphrase")
	return c
}

// closeOutput is what closing makes public.
type closeOutput struct {
	Tasting    string          `json:"tasting"`
	Commitment string          `json:"commitment"`
	Verified   bool            `json:"verified"` // the key is the one locked
	Redealt    bool            `json:"redealt"`  // and the one its seed deals
	Seed       string          `json:"seed"`
	Salt       string          `json:"salt"`
	Score      *tasting.Scored `json:"score"`
	Notes      []fault.Note    `json:"notes"`
}

func runTasteClose(env *Env, dir string, o tasteCloseOptions) error {
	if o.answers == "" {
		return fault.BadUsage("flag-missing", "--answers is needed").WithFix("name the table of ballots")
	}
	d, err := readTasting(dir)
	if err != nil {
		return err
	}
	if d.Session.Closed != nil {
		return fault.New("tasting-closed", "the tasting is closed already: no ballot is taken any more").In(dir).WithFix("score it with: trivet taste score %s", dir)
	}
	t, err := readTableFile(env, o.answers)
	if err != nil {
		return err
	}
	rec := tasting.Records{Name: t.Name, Columns: t.Columns, Rows: t.Rows, Lines: t.Lines}
	answers, err := rec.Answers(d.Session, env.Random)
	if err != nil {
		return err
	}
	for _, a := range answers {
		if err := d.Session.Receive(a, env.Now(), env.Random); err != nil {
			if f := fault.As(err); f != nil {
				return f.In(t.Name)
			}
			return err
		}
	}
	for _, who := range o.withdraw {
		if _, err := d.Session.Withdraw(who, env.Now(), env.Random); err != nil {
			return err
		}
	}
	for _, text := range o.deviations {
		tray, what := 0, text
		if before, after, ok := strings.Cut(text, ":"); ok {
			if n, err := strconv.Atoi(strings.TrimSpace(before)); err == nil {
				tray, what = n, strings.TrimSpace(after)
			}
		}
		if err := d.Session.Deviate(tray, what, env.Now(), env.Random); err != nil {
			return err
		}
	}
	key, salt, err := openSealedKey(env, dir, o.passphraseFile)
	if err != nil {
		return err
	}
	notes, err := d.Session.Close(key, salt, env.Now(), env.Random)
	if err != nil {
		return err
	}
	out := closeOutput{Tasting: key.Tasting, Commitment: d.Session.Lock.Commitment, Verified: true, Seed: key.Seed, Salt: salt, Notes: notes}
	if err := tasting.VerifyDeal(d.Setup, key); err != nil {
		out.Notes = append(out.Notes, fault.Notef("deal-mismatch", "%s", fault.As(err).Message))
	} else {
		out.Redealt = true
	}
	if out.Score, err = d.Score(); err != nil {
		return err
	}
	if err := writeJSONFile(filepath.Join(dir, openedKeyFile), tasting.Revelation{AtUS: env.Now().UnixMicro(), Key: key, Salt: salt}, true); err != nil {
		return err
	}
	if err := writeJSONFile(filepath.Join(dir, tastingFile), d, true); err != nil {
		return err
	}
	if env.JSON {
		return env.PrintJSON(out)
	}
	env.Printf("Closed. The key is the one locked before the tasting: %s\n", out.Commitment)
	if out.Redealt {
		env.Printf("Its seed deals it again: %s\n", out.Seed)
	}
	env.PrintNotes(out.Notes)
	env.Printf("\n")
	return printScored(env, out.Score)
}
