package store

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"os/exec"
	"strings"
	"testing"
	"time"

	"trivet/study"
)

// A process killed with SIGKILL while it writes loses nothing it had
// acknowledged, and leaves nothing half-written.
func TestKillLosesNothingAcknowledged(t *testing.T) {
	ctx := context.Background()
	for round := range 5 {
		n := newNotebook(t)
		must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, nil, nil))
		must(t, n.PutCook(ctx, "s", study.Cook{ID: "running", Label: "running"}))
		path := n.Path()
		must(t, n.Close())

		cmd := child(t, "write-until-killed", path)
		out, err := cmd.StdoutPipe()
		must(t, err)
		must(t, cmd.Start())
		acknowledged := map[string]int{}
		killAfter := 40 + 37*round
		lines := bufio.NewScanner(out)
		for count := 0; lines.Scan(); count++ {
			var what string
			var i int
			if _, err := fmt.Sscan(lines.Text(), &what, &i); err != nil {
				t.Fatalf("child said %q", lines.Text())
			}
			acknowledged[what] = i + 1
			if count == killAfter {
				must(t, cmd.Process.Kill()) // whatever it said before dying is still read
			}
		}
		_ = cmd.Wait() // "signal: killed"

		n, err = Open(ctx, path, Options{})
		must(t, err)
		rec, err := n.Record(ctx, "s")
		must(t, err)
		traces, err := n.Traces(ctx, "s", "running")
		must(t, err)
		cooks, marks := len(rec.Cooks)-1, 0
		for _, k := range rec.Cooks {
			if k.ID == "running" {
				marks = len(k.Marks)
			} else if len(k.Weighings) != 1 {
				t.Errorf("cook %s is half-written", k.ID)
			}
		}
		samples := 0
		for _, x := range traces {
			samples += len(x.TimesUS)
		}
		if marks < acknowledged["mark"] || cooks < acknowledged["cook"] || samples < 10*acknowledged["samples"] {
			t.Errorf("acknowledged %v, found %d marks, %d cooks, %d samples", acknowledged, marks, cooks, samples)
		}
		if samples%10 != 0 {
			t.Errorf("%d samples: a batch of ten is half-written", samples)
		}
		if len(rec.Events) != cooks {
			t.Errorf("%d events for %d cooks: one transaction was split", len(rec.Events), cooks)
		}
		must(t, n.VerifyHistory(ctx, "s"))
		_, err = n.Backup(ctx, path+".bak")
		must(t, err) // runs the integrity check
		must(t, n.Close())
	}
}

// Two processes write the same notebook at once; each waits for the other,
// and both histories are in one chain.
func TestProcessesTakeTurns(t *testing.T) {
	ctx := context.Background()
	n := newNotebook(t)
	must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, nil, nil))
	const each = 40
	var cmds []*exec.Cmd
	for _, name := range []string{"a", "b"} {
		cmd := child(t, "add-cooks", n.Path(), name, fmt.Sprint(each))
		must(t, cmd.Start())
		cmds = append(cmds, cmd)
	}
	for i := range each { // and this process reads and writes meanwhile
		id := fmt.Sprintf("c-%d", i)
		must(t, n.PutCook(ctx, "s", study.Cook{ID: id, Label: id}, study.Event{What: id}))
		_, err := n.Studies(ctx)
		must(t, err)
	}
	for _, cmd := range cmds {
		must(t, cmd.Wait())
	}
	rec, err := n.Record(ctx, "s")
	must(t, err)
	if len(rec.Cooks) != 3*each || len(rec.Events) != 3*each {
		t.Errorf("%d cooks and %d events, want %d of each", len(rec.Cooks), len(rec.Events), 3*each)
	}
	must(t, n.VerifyHistory(ctx, "s"))
}

func TestLockedNotebookSaysSo(t *testing.T) {
	ctx := context.Background()
	n := newNotebook(t)
	must(t, n.PutStudy(ctx, &study.Study{ID: "s"}, []byte("study: s\n"), nil))
	path := n.Path()
	must(t, n.Close())
	cmd := child(t, "hold-lock", path, "60000")
	out, err := cmd.StdoutPipe()
	must(t, err)
	must(t, cmd.Start())
	defer func() { _ = cmd.Process.Kill(); _ = cmd.Wait() }()
	if line, _ := bufio.NewReader(out).ReadString('\n'); strings.TrimSpace(line) != "locked" {
		t.Fatalf("child said %q", line)
	}

	n, err = Open(ctx, path, Options{BusyTimeout: 50 * time.Millisecond})
	must(t, err) // reading goes on
	defer n.Close()
	rec, err := n.Record(ctx, "s")
	must(t, err)
	if !bytes.Equal(rec.Document, []byte("study: s\n")) {
		t.Errorf("read %q beside a writer", rec.Document)
	}
	err = n.PutCook(ctx, "s", study.Cook{ID: "k"})
	wantCode(t, err, "notebook-locked")
}
