package web

import (
	"bufio"
	"context"
	"crypto/rand"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"trivet/bench"
	"trivet/store"
)

// childNotebook, set in the environment, makes the test program a server of
// that notebook, so that a test can kill it.
const childNotebook = "TRIVET_TEST_SERVE"

func TestMain(m *testing.M) {
	if path := os.Getenv(childNotebook); path != "" {
		if err := serveChild(path); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	code := m.Run()
	if err := checkPagesSeen(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		code = max(code, 1)
	}
	os.Exit(code)
}

func serveChild(path string) error {
	nb, err := store.Open(context.Background(), path, store.Options{Now: time.Now})
	if err != nil {
		return err
	}
	app, err := New(context.Background(), nb, Options{Now: time.Now, Random: rand.Reader})
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	fmt.Println(l.Addr())
	return http.Serve(l, app.Handler())
}

// child starts a server in a process of its own and returns its address.
func child(t testing.TB, path string) (string, *exec.Cmd) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), childNotebook+"="+path)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatalf("the server did not start: %v", err)
	}
	go io.Copy(io.Discard, out)
	return "http://" + strings.TrimSpace(line), cmd
}

// panel is a tasting whose assessors have all agreed, and what each will
// send.
type panel struct {
	tasting *bench.Tasting
	ballots []panelBallot
}

type panelBallot struct {
	seat, link string
	form       url.Values
}

func newPanel(t testing.TB, room *bench.TastingRoom, n int) panel {
	t.Helper()
	ta, secrets, err := room.Open(context.Background(), trianglePlan(n, 1), passphrase)
	if err != nil {
		t.Fatal(err)
	}
	p := panel{tasting: ta}
	for _, tray := range ta.Document.Session.Trays {
		if _, err := room.Enter(context.Background(), ta, tray.Assessor, bench.Door{Consents: true}); err != nil {
			t.Fatal(err)
		}
		form := url.Values{"id": {uuid.NewString()}, "set": {tray.Set}, "choice": {tray.Codes[tray.Tray%3]}, "sureness": {"2"}, "comment": {"tray " + fmt.Sprint(tray.Tray)}}
		p.ballots = append(p.ballots, panelBallot{tray.Assessor, seatLink(secrets, tray.Assessor), form})
	}
	return p
}

// send posts a ballot as the ballot page's script does; nil means kept.
func (b panelBallot) send(c *http.Client, base string) error {
	req, err := http.NewRequest("POST", base+b.link+"/answer", strings.NewReader(b.form.Encode()))
	if err != nil {
		return err
	}
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	req.Header.Set("Accept", "application/json")
	res, err := c.Do(req)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		return err
	}
	if res.StatusCode != 200 || string(body) != "{\"state\":\"kept\"}\n" {
		return fmt.Errorf("%d %s", res.StatusCode, body)
	}
	return nil
}

// Two hundred assessors send their ballots while the server is killed and
// started again. Phones send until a ballot is acknowledged; some
// acknowledged ballots are sent a second time. None is lost, none counted
// twice.
func TestKilledServerLosesNoBallot(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes seconds")
	}
	k := openKitchen(t, Options{})
	p := newPanel(t, k.app.room, 200)
	k.store.Close() // the child is the only writer

	base, cmd := child(t, k.path)
	var address atomic.Value
	address.Store(base)
	var acked, resent atomic.Int64
	client := &http.Client{Timeout: 10 * time.Second, Transport: &http.Transport{MaxIdleConnsPerHost: 200}}
	start := time.Now()
	var wg sync.WaitGroup
	for i, b := range p.ballots {
		wg.Add(1)
		go func() {
			defer wg.Done()
			time.Sleep(time.Duration(i) * 3 * time.Second / 200)
			for try := 0; try < 200; try++ {
				if err := b.send(client, address.Load().(string)); err == nil {
					acked.Add(1)
					if i%10 == 0 {
						if err := b.send(client, address.Load().(string)); err == nil {
							resent.Add(1)
						}
					}
					return
				}
				time.Sleep(50 * time.Millisecond)
			}
			t.Errorf("ballot %d was never acknowledged", i)
		}()
	}
	for acked.Load() < 90 {
		time.Sleep(time.Millisecond)
		if time.Since(start) > 20*time.Second {
			t.Fatal("the server acknowledges nothing")
		}
	}
	cmd.Process.Kill() // SIGKILL: nothing can be put in order
	cmd.Wait()
	before := acked.Load()
	next, _ := child(t, k.path)
	address.Store(next)
	wg.Wait()
	if acked.Load() != 200 || before < 90 || before == 200 {
		t.Fatalf("%d acknowledged, %d of them before the kill", acked.Load(), before)
	}
	t.Logf("killed after %d of 200 acknowledgements; %d ballots sent a second time; %.1f s in all", before, resent.Load(), time.Since(start).Seconds())
	checkPanel(t, k.path, p)
}

// checkPanel reads the notebook anew and compares every answer with what was
// sent.
func checkPanel(t testing.TB, path string, p panel) {
	t.Helper()
	nb, err := store.Open(context.Background(), path, store.Options{Now: time.Now, ReadOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	defer nb.Close()
	room, err := bench.NewTastingRoom(context.Background(), nb, time.Now, rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	seats, err := room.Seats(context.Background(), p.tasting)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range seats {
		if s.State != bench.SeatDone || len(s.Answered) != 1 {
			t.Errorf("seat %s is %s with %d answers", s.ID, s.State, len(s.Answered))
		}
	}
	rows, err := nb.Ballots(context.Background(), p.tasting.Study, p.tasting.ID)
	if err != nil {
		t.Fatal(err)
	}
	count := map[string]int{}
	for _, r := range rows {
		for _, b := range p.ballots {
			if b.seat == r.Assessor && strings.Contains(string(r.Body), `"`+b.form.Get("id")+`"`) && strings.Contains(string(r.Body), `"`+b.form.Get("choice")+`"`) && strings.Contains(string(r.Body), `"`+b.form.Get("comment")+`"`) {
				count[b.seat]++
			}
		}
	}
	for _, b := range p.ballots {
		if count[b.seat] != 1 {
			t.Errorf("the ballot of %s is kept %d times", b.seat, count[b.seat])
		}
	}
}

// Many hands send different answers to one set at once: one is kept, and
// everybody is told the truth.
func TestOneSetManyHands(t *testing.T) {
	k := openKitchen(t, Options{})
	p := newPanel(t, k.app.room, 1)
	var kept, refused atomic.Int64
	var wg sync.WaitGroup
	for i := range 16 {
		b := p.ballots[0]
		b.form = url.Values{"id": {uuid.NewString()}, "set": b.form["set"], "choice": {p.tasting.Document.Session.Trays[0].Codes[i%3]}}
		wg.Add(1)
		go func() {
			defer wg.Done()
			switch err := b.send(http.DefaultClient, k.http.URL); {
			case err == nil:
				kept.Add(1)
			case strings.Contains(err.Error(), "ballot-duplicate"):
				refused.Add(1)
			default:
				t.Error(err)
			}
		}()
	}
	wg.Wait()
	if kept.Load() != 1 || refused.Load() != 15 {
		t.Errorf("%d kept and %d refused, want 1 and 15", kept.Load(), refused.Load())
	}
	seat, err := k.app.room.Seat(context.Background(), p.tasting, "P01")
	if err != nil || seat.State != bench.SeatDone {
		t.Errorf("the seat is %v, %v", seat, err)
	}
}

// BenchmarkPanel is 200 assessors sending their ballots within ten seconds
// on loopback, each ballot on disk before it is acknowledged. Run it with
// -benchtime 1x; ms-p50, ms-p99 and ms-max are of the acknowledgement.
func BenchmarkPanel(b *testing.B) {
	benchmarkPanel(b, 200, 10*time.Second)
}

// BenchmarkPanelAtOnce is the same 200 within a second.
func BenchmarkPanelAtOnce(b *testing.B) {
	benchmarkPanel(b, 200, time.Second)
}

func benchmarkPanel(b *testing.B, n int, over time.Duration) {
	path := b.TempDir() + "/kitchen.trivet"
	nb := newNotebook(b, path)
	room, err := bench.NewTastingRoom(context.Background(), nb, time.Now, rand.Reader)
	if err != nil {
		b.Fatal(err)
	}
	var panels []panel
	for range b.N {
		panels = append(panels, newPanel(b, room, n))
	}
	nb.Close()
	base, _ := child(b, path)
	client := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: n}}
	b.ReportAllocs()
	b.ResetTimer()
	var all []time.Duration
	for _, p := range panels {
		times := make([]time.Duration, n)
		var wg sync.WaitGroup
		for i, ballot := range p.ballots {
			wg.Add(1)
			go func() {
				defer wg.Done()
				time.Sleep(time.Duration(i) * over / time.Duration(n))
				start := time.Now()
				if err := ballot.send(client, base); err != nil {
					b.Error(err)
				}
				times[i] = time.Since(start)
			}()
		}
		wg.Wait()
		all = append(all, times...)
	}
	b.StopTimer()
	slices.Sort(all)
	ms := func(q float64) float64 { return float64(all[int(q*float64(len(all)-1))].Microseconds()) / 1000 }
	b.ReportMetric(ms(0.5), "ms-p50")
	b.ReportMetric(ms(0.99), "ms-p99")
	b.ReportMetric(ms(1), "ms-max")
	for _, p := range panels {
		checkPanel(b, path, p)
	}
}
