package web

import (
	"io"
	"net/http"
	"os"
	"path/filepath"
	"sync/atomic"
)

// loadRun is one log of those that a request loads.
type loadRun struct {
	sha256   string
	of       int64
	read     atomic.Int64
	finished atomic.Bool
}

// begin announces the logs that a request is about to load, in order; what it
// returns ends the announcement.
func (d *Desk) begin(study string, files ...string) func() {
	var runs []*loadRun
	for _, file := range files {
		run := &loadRun{sha256: filepath.Base(file)}
		if info, err := os.Stat(file); err == nil {
			run.of = info.Size()
		}
		runs = append(runs, run)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.loads == nil {
		d.loads = map[string][]*loadRun{}
	}
	d.loads[study] = runs
	return func() {
		d.mu.Lock()
		defer d.mu.Unlock()
		delete(d.loads, study)
	}
}

// counted counts what of a log is read while it is loaded.
func (d *Desk) counted(study, file string, f io.ReadSeeker) io.Reader {
	d.mu.Lock()
	defer d.mu.Unlock()
	for i, run := range d.loads[study] {
		if run.sha256 == filepath.Base(file) {
			for _, before := range d.loads[study][:i] {
				before.finished.Store(true)
			}
			return &countedLog{f, run}
		}
	}
	return f
}

// countedLog is a log that is being read. A second reading counts anew.
type countedLog struct {
	io.ReadSeeker
	run *loadRun
}

func (c *countedLog) Read(p []byte) (int, error) {
	n, err := c.ReadSeeker.Read(p)
	c.run.read.Add(int64(n))
	return n, err
}

func (c *countedLog) Seek(offset int64, whence int) (int64, error) {
	at, err := c.ReadSeeker.Seek(offset, whence)
	if err == nil {
		c.run.read.Store(at)
	}
	return at, err
}

// progressLine is how far a log is, as a script shows it.
type progressLine struct {
	SHA256 string  `json:"sha256"`
	Share  float64 `json:"share"` // of its bytes that are read
	Done   bool    `json:"done"`
}

// loadProgress tells how far the logs are that are being loaded into a study.
func (d *Desk) loadProgress(w http.ResponseWriter, r *http.Request) {
	d.mu.Lock()
	runs := d.loads[r.PathValue("id")]
	d.mu.Unlock()
	var read, of int64
	out := struct {
		Logs  []progressLine `json:"logs"`
		Share float64        `json:"share"` // of the bytes of all
	}{Logs: []progressLine{}}
	for _, run := range runs {
		line := progressLine{SHA256: run.sha256, Done: run.finished.Load()}
		now := min(run.read.Load(), run.of)
		if line.Done {
			now = run.of
		}
		if run.of > 0 {
			line.Share = float64(now) / float64(run.of)
		}
		read, of = read+now, of+run.of
		out.Logs = append(out.Logs, line)
	}
	if of > 0 {
		out.Share = float64(read) / float64(of)
	}
	reply(w, http.StatusOK, out)
}
