package cli

import (
	"bufio"
	"encoding/json"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/term"

	"trivet/fault"
	"trivet/tasting"
)

// A tasting's folder holds the tasting, without its key, and the key sealed
// to the lead's passphrase. Closing adds the opened key.
const (
	tastingFile   = "tasting.json"
	sealedKeyFile = "key.sealed.json"
	openedKeyFile = "key.json"
)

func readTasting(dir string) (*tasting.Document, error) {
	var d tasting.Document
	if err := readJSONFile(filepath.Join(dir, tastingFile), &d); err != nil {
		return nil, err
	}
	if d.Format != tasting.DocumentFormat || d.Session == nil {
		return nil, fault.New("tasting-format", "this tasting has format %d; this version reads %d", d.Format, tasting.DocumentFormat).
			In(filepath.Join(dir, tastingFile)).WithFix("open it with a newer trivet")
	}
	return &d, d.Session.History.Verify()
}

func readJSONFile(path string, to any) error {
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return fault.BadUsage("file-missing", "there is no such file").In(path).WithFix("name the folder that \"trivet taste orders\" wrote")
	}
	if err != nil {
		return fault.New("file-read", "the file could not be read").In(path).Wrap(err)
	}
	if err := json.Unmarshal(b, to); err != nil {
		return fault.New("file-corrupt", "the file is not what trivet wrote").In(path).Wrap(err).WithFix("go back to an untouched copy")
	}
	return nil
}

func writeJSONFile(path string, v any, force bool) error {
	b, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return err
	}
	return writeNew(path, append(b, '\n'), force)
}

// passphrase reads the lead's passphrase: from a file, from
// TRIVET_PASSPHRASE, or typed without echo.
func (e *Env) passphrase(file string) (string, error) {
	if file != "" {
		b, err := os.ReadFile(file)
		if err != nil {
			return "", fault.BadUsage("file-missing", "the passphrase file could not be read").In(file).Wrap(err)
		}
		line, _, _ := strings.Cut(string(b), "\n")
		return strings.TrimRight(line, "\r"), nil
	}
	if p := os.Getenv("TRIVET_PASSPHRASE"); p != "" {
		return p, nil
	}
	if f, ok := e.Stdin.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		e.Stderr.Write([]byte("Passphrase of the tasting's lead: "))
		b, err := term.ReadPassword(int(f.Fd()))
		e.Stderr.Write([]byte("\n"))
		return string(b), err
	}
	return "", fault.BadUsage("passphrase-missing", "the key is sealed to the lead's passphrase, and none was given").
		WithFix("name a file with --passphrase-file, or set TRIVET_PASSPHRASE")
}

func openSealedKey(env *Env, dir, file string) (*tasting.Key, string, error) {
	var sealed tasting.SealedKey
	if err := readJSONFile(filepath.Join(dir, sealedKeyFile), &sealed); err != nil {
		return nil, "", err
	}
	p, err := env.passphrase(file)
	if err != nil {
		return nil, "", err
	}
	return sealed.Open(p)
}

// csvLine writes one CSV line to the result.
func (e *Env) csvLine(cells ...string) {
	w := bufio.NewWriter(e)
	for i, c := range cells {
		if i > 0 {
			w.WriteByte(',')
		}
		if strings.ContainsAny(c, ",\"\n") {
			c = `"` + strings.ReplaceAll(c, `"`, `""`) + `"`
		}
		w.WriteString(c)
	}
	w.WriteByte('\n')
	w.Flush()
}
