package store

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"testing"
	"time"

	"trivet/fault"
	"trivet/study"
	"trivet/trace"
)

// The tests of crashes, locks and permissions need a second process: the
// test binary starts itself again with the name of one of these parts.
var childParts = map[string]func(path string, args []string) error{
	"write-until-killed": writeUntilKilled,
	"hold-lock":          holdLock,
	"add-cooks":          addCooks,
	"open-and-report":    openAndReport,
}

const childVariable = "TRIVET_STORE_CHILD"

func TestMain(m *testing.M) {
	if part := os.Getenv(childVariable); part != "" {
		if err := childParts[part](os.Args[1], os.Args[2:]); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// child prepares a part to run in a process of its own.
func child(t testing.TB, part, path string, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	must(t, err)
	cmd := exec.Command(self, append([]string{path}, args...)...)
	cmd.Env = append(os.Environ(), childVariable+"="+part)
	cmd.Stderr = os.Stderr
	return cmd
}

// writeUntilKilled writes marks, samples and cooks, and prints a line for
// each only after the notebook acknowledged it.
func writeUntilKilled(path string, _ []string) error {
	ctx := context.Background()
	n, err := Open(ctx, path, Options{})
	if err != nil {
		return err
	}
	for i := 0; ; i++ {
		m := study.Mark{ID: fmt.Sprintf("mark-%06d", i), Kind: study.Turn, AtUS: int64(i), Note: "turned"}
		if err := n.AddMark(ctx, "s", "running", m); err != nil {
			return err
		}
		fmt.Println("mark", i)
		batch := trace.Trace{Channel: trace.Channel{ID: "core", Place: trace.Core, Unit: trace.DegC}, Quantum: 0.1}
		for j := range 10 {
			batch.TimesUS = append(batch.TimesUS, int64(i*10+j))
			batch.Counts = append(batch.Counts, int64(200+i))
		}
		if err := n.AppendSamples(ctx, "s", "running", []trace.Trace{batch}); err != nil {
			return err
		}
		fmt.Println("samples", i)
		if i%7 == 6 {
			if err := n.FinishSamples(ctx, "s", "running"); err != nil {
				return err
			}
		}
		k := study.Cook{ID: fmt.Sprintf("cook-%06d", i), Label: fmt.Sprint(i), Weighings: []study.Weighing{{MassG: 250}}}
		if err := n.PutCook(ctx, "s", k, study.Event{Kind: study.EventChanged, What: "cooked"}); err != nil {
			return err
		}
		fmt.Println("cook", i)
	}
}

// holdLock keeps the write lock for a time after saying so.
func holdLock(path string, args []string) error {
	ms, err := strconv.Atoi(args[0])
	if err != nil {
		return err
	}
	n, err := Open(context.Background(), path, Options{})
	if err != nil {
		return err
	}
	defer n.Close()
	return n.change(context.Background(), func(c *change) error {
		fmt.Println("locked")
		time.Sleep(time.Duration(ms) * time.Millisecond)
		return nil
	})
}

// addCooks adds a number of cooks with a common prefix.
func addCooks(path string, args []string) error {
	count, err := strconv.Atoi(args[1])
	if err != nil {
		return err
	}
	n, err := Open(context.Background(), path, Options{BusyTimeout: 20 * time.Second})
	if err != nil {
		return err
	}
	defer n.Close()
	for i := range count {
		id := fmt.Sprintf("%s-%d", args[0], i)
		if err := n.PutCook(context.Background(), "s", study.Cook{ID: id, Label: id},
			study.Event{Kind: study.EventChanged, What: id}); err != nil {
			return err
		}
	}
	return nil
}

// openAndReport opens a notebook, writes a study into it and prints the code
// of the error, or "ok".
func openAndReport(path string, args []string) error {
	ctx := context.Background()
	n, err := Open(ctx, path, Options{ReadOnly: len(args) > 0 && args[0] == "read-only"})
	if err == nil {
		defer n.Close()
		if len(args) > 0 && args[0] == "read-only" {
			_, err = n.Studies(ctx)
		} else {
			err = n.PutStudy(ctx, &study.Study{ID: "new"}, []byte("study: new\n"), nil)
		}
	}
	if err == nil {
		fmt.Print("ok")
		return nil
	}
	e := fault.As(err)
	if e == nil {
		return err
	}
	fmt.Print(e.Code)
	return nil
}
