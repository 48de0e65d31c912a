package web

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"trivet/fault"
)

// waiting is a log that was dropped on a page and is not loaded yet.
type waiting struct {
	SHA256 string    `json:"sha256"`
	Name   string    `json:"name"`
	Bytes  int64     `json:"bytes"`
	At     time.Time `json:"at"`
	// In is what somebody said of its columns and its cook, so far.
	In map[string]string `json:"in,omitempty"`
}

func (d *Desk) stageDir(studyID string) (string, error) {
	if d.opt.Incoming == "" {
		return "", fault.New("incoming-none", "%s", say("incoming-none")).WithFix("%s", say("incoming-none-fix"))
	}
	dir := filepath.Join(d.opt.Incoming, anchorOf(studyID))
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return "", fault.New("incoming-write", "%s", say("incoming-write")).WithFix("%s", say("incoming-write-fix")).Wrap(err)
	}
	return dir, nil
}

var hexName = regexp.MustCompile(`^[0-9a-f]{64}$`)

func (d *Desk) staged(studyID string) ([]waiting, error) {
	dir, err := d.stageDir(studyID)
	if err != nil {
		return nil, err
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	var out []waiting
	for _, e := range entries {
		sha, ok := strings.CutSuffix(e.Name(), ".json")
		if !ok || !hexName.MatchString(sha) {
			continue
		}
		b, err := os.ReadFile(filepath.Join(dir, e.Name()))
		var x waiting
		if err == nil && json.Unmarshal(b, &x) == nil && x.SHA256 == sha {
			out = append(out, x)
		}
	}
	slices.SortFunc(out, func(a, b waiting) int { return strings.Compare(a.Name, b.Name) })
	return out, nil
}

// stageLogs keeps the files of an upload until they are loaded.
func (d *Desk) stageLogs(w http.ResponseWriter, r *http.Request) {
	problem := func(err error) {
		f := d.s.publicFault(err)
		if wantsJSON(r) {
			reply(w, statusOf(f), map[string]errorBody{"error": bodyOf(f)})
			return
		}
		d.showLoad(w, r, statusOf(f), loadView{Error: f}, "", nil, nil)
	}
	if _, err := d.nb.Record(r.Context(), r.PathValue("id")); err != nil {
		problem(err)
		return
	}
	dir, err := d.stageDir(r.PathValue("id"))
	if err != nil {
		problem(err)
		return
	}
	mr, err := r.MultipartReader()
	if err != nil {
		problem(fault.New("form-bad", "%s", say("form-bad")).WithFix("%s", say("upload-fix")).Wrap(err))
		return
	}
	n := 0
	for {
		p, err := mr.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			problem(uploadFault(err))
			return
		}
		if p.FileName() == "" {
			continue
		}
		if all, err := d.staged(r.PathValue("id")); err == nil && len(all) >= maxStaged {
			problem(fault.New("incoming-full", "%s", say("incoming-full", maxStaged)).WithFix("%s", say("incoming-full-fix")))
			return
		}
		if err := d.keep(dir, p); err != nil {
			problem(err)
			return
		}
		n++
	}
	if n == 0 {
		problem(fault.New("upload-empty", "%s", say("upload-empty")).WithFix("%s", say("upload-fix")))
		return
	}
	if wantsJSON(r) {
		reply(w, http.StatusOK, map[string]int{"kept": n})
		return
	}
	http.Redirect(w, r, "/studies/"+r.PathValue("id")+"/load", http.StatusSeeOther)
}

func uploadFault(err error) error {
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		return fault.New("upload-large", "%s", say("upload-large", sizeText(maxUpload))).WithFix("%s", say("upload-large-fix"))
	}
	return fault.New("upload-cut", "%s", say("upload-cut")).WithFix("%s", say("upload-cut-fix")).Wrap(err)
}

// keep writes one file and its card, the card last: what has one is whole.
func (d *Desk) keep(dir string, p *multipart.Part) error {
	tmp, err := os.CreateTemp(dir, "arriving-*")
	if err != nil {
		return fault.New("incoming-write", "%s", say("incoming-write")).WithFix("%s", say("incoming-write-fix")).Wrap(err)
	}
	defer os.Remove(tmp.Name())
	sum := sha256.New()
	n, err := io.Copy(io.MultiWriter(tmp, sum), p)
	if err != nil {
		tmp.Close()
		return uploadFault(err)
	}
	if err := errors.Join(tmp.Sync(), tmp.Close()); err != nil {
		return fault.New("incoming-write", "%s", say("incoming-write")).WithFix("%s", say("incoming-write-fix")).Wrap(err)
	}
	x := waiting{SHA256: hex.EncodeToString(sum.Sum(nil)), Name: path.Base(strings.ReplaceAll(p.FileName(), `\`, "/")), Bytes: n, At: d.s.opt.Now()}
	card, err := json.Marshal(x)
	if err == nil {
		err = os.Rename(tmp.Name(), filepath.Join(dir, x.SHA256))
	}
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, x.SHA256+".json"), card, 0o600)
	}
	if err != nil {
		return fault.New("incoming-write", "%s", say("incoming-write")).WithFix("%s", say("incoming-write-fix")).Wrap(err)
	}
	return nil
}

// forget lets go of a waiting log.
func forget(file string) { os.Remove(file + ".json"); os.Remove(file) }

// rewriteCard keeps what somebody said of a waiting log.
func rewriteCard(file string, in map[string]string) error {
	bad := func(err error) error {
		return fault.New("incoming-write", "%s", say("incoming-write")).WithFix("%s", say("incoming-write-fix")).Wrap(err)
	}
	x, err := readCard(file)
	if err != nil {
		return err
	}
	x.In = in
	b, err := json.Marshal(x)
	if err != nil {
		return bad(err)
	}
	tmp := file + ".json.new"
	if err := os.WriteFile(tmp, b, 0o600); err != nil {
		return bad(err)
	}
	if err := os.Rename(tmp, file+".json"); err != nil {
		return bad(err)
	}
	return nil
}

func readCard(file string) (x waiting, err error) {
	b, err := os.ReadFile(file + ".json")
	if err != nil || json.Unmarshal(b, &x) != nil {
		return x, fault.New("incoming-gone", "%s", say("incoming-gone")).WithFix("%s", say("incoming-gone-fix"))
	}
	return x, nil
}
