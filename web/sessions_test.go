package web

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"trivet/tasting"
)

var handedOn = regexp.MustCompile(`<a href="[^"]*(/c/[^"]+)" rel="noreferrer">`)

// A cook's tablet dies in the middle: the lead sees who is in, hands the role
// on by a code, and the dead tablet is out while the new one cooks on.
func TestARoleIsHandedOn(t *testing.T) {
	clock := &kitchenClock{time.Now()}
	h := openHouseholdAt(t, "", clock.now)
	lead, cook := h.person("lead"), h.person("cook")
	_, page := h.ask2(lead, "GET", "/links", nil)
	wants(t, page, "Who is in now", "the lead", "this browser", "who cooks", "last request")
	var id string
	for _, s := range h.desk.s.access.sessions() {
		if s.Role == roleCook {
			id = s.ID
		}
	}
	clock.at = clock.at.Add(90 * time.Minute)
	status, page := h.ask2(lead, "POST", "/links/sessions/"+id, url.Values{"do": {"on"}})
	link := handedOn.FindStringSubmatch(page)
	if status != 200 || link == nil || !strings.Contains(page, "QR code") {
		t.Fatalf("handing on: %d %.900s", status, page)
	}
	if a := h.do(cook, "GET", "/studies/"+h.study+"/cooks", nil); !a.refused() {
		t.Errorf("the tablet handed on is still in: %d", a.status)
	}
	second := &persona{"second cook", map[string]string{}, nil}
	if a := h.do(second, "POST", link[1], nil); a.status != 303 {
		t.Fatalf("the new tablet: %d %s", a.status, a.body)
	}
	if a := h.do(second, "GET", "/studies/"+h.study+"/cooks/"+h.cook.Label, nil); a.status != 200 {
		t.Errorf("the new tablet at its cook: %d", a.status)
	}
	third := &persona{"third", map[string]string{}, nil}
	if a := h.do(third, "POST", link[1], nil); a.status != http.StatusGone {
		t.Errorf("the code opens a third device: %d", a.status)
	}
	if a := h.do(lead, "POST", "/links/sessions/"+id, url.Values{"do": {"on"}}); a.status < 400 {
		t.Errorf("what is over is handed on again: %d", a.status)
	}
	// Handing on crosses no wall: who tasted on a device takes no cook's role.
	_, page = h.ask2(lead, "GET", "/links", nil)
	wants(t, page, "Hand it on")
	for _, s := range h.desk.s.access.sessions() {
		if s.Role == roleCook {
			_, page = h.ask2(lead, "POST", "/links/sessions/"+s.ID, url.Values{"do": {"on"}})
		}
	}
	assessor := h.person("assessor")
	h.do(assessor, "GET", "/b/"+assessor.links[0], nil)
	if a := h.do(assessor, "POST", handedOn.FindStringSubmatch(page)[1], nil); a.status != http.StatusForbidden {
		t.Errorf("an assessor's phone becomes the cook's: %d", a.status)
	}

	// Other leads can be ended one by one.
	other := &persona{"other lead", map[string]string{}, nil}
	h.signIn(other)
	ended := 0
	for _, s := range h.desk.s.access.sessions() {
		if s.Role != tasting.Lead {
			continue
		}
		_, page := h.ask2(lead, "GET", "/links", nil)
		_, row, _ := strings.Cut(page, "/links/sessions/"+s.ID)
		if row, _, _ = strings.Cut(row, "</form>"); strings.Contains(row, `value="end"`) {
			h.do(lead, "POST", "/links/sessions/"+s.ID, url.Values{"do": {"end"}})
			ended++
		}
	}
	if ended != 1 {
		t.Errorf("%d leads offered to be ended, want the other one", ended)
	}
	if a := h.do(other, "GET", "/links", nil); !a.refused() {
		t.Error("a lead who was ended is still in")
	}
	if a := h.do(lead, "GET", "/links", nil); a.refused() {
		t.Error("the lead ended somebody else and is out")
	}
}

// ask2 asks for a page as a browser does.
func (h *household) ask2(p *persona, method, path string, form url.Values) (int, string) {
	h.Helper()
	a := h.do(p, method, path, form, "Accept", "text/html")
	return a.status, a.text()
}

func (h *household) person(name string) *persona {
	h.Helper()
	for _, p := range h.people {
		if p.name == name {
			return p
		}
	}
	h.Fatalf("nobody is %s", name)
	return nil
}

// The address of the machine changes while it serves: it answers to the new
// name, refuses the old, prints links with the new, and says what changed.
func TestAnotherAddressWhileServing(t *testing.T) {
	at := Where{Hosts: []string{"127.0.0.1", "192.168.1.20"}, PublicURL: "http://192.168.1.20:8137"}
	d := openDeskWith(t, Options{Where: func() Where { return at }})
	d.post("/studies", url.Values{"title": {"Salt"}})
	status := func(host string) int {
		t.Helper()
		q, err := http.NewRequest("GET", d.http.URL+"/links", nil)
		if err != nil {
			t.Fatal(err)
		}
		q.Host = host
		r, err := d.client.Do(q)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		return r.StatusCode
	}
	if a, b := status("192.168.1.20:8137"), status("10.0.0.7:8137"); a != 200 || b != http.StatusMisdirectedRequest {
		t.Errorf("before: %d and %d", a, b)
	}
	at = Where{Hosts: []string{"127.0.0.1", "10.0.0.7"}, PublicURL: "http://10.0.0.7:8137", Before: at.PublicURL, Since: time.Date(2026, 11, 1, 9, 30, 0, 0, time.UTC)}
	if a, b := status("192.168.1.20:8137"), status("10.0.0.7:8137"); a != http.StatusMisdirectedRequest || b != 200 {
		t.Errorf("after: %d and %d", a, b)
	}
	_, page := d.get("/links")
	wants(t, page, "The address of this machine changed on 1 November 2026, 09:30. It is http://10.0.0.7:8137 now and was http://192.168.1.20:8137")
	_, page = d.post("/links", url.Values{"role": {"cook"}, "study": {"salt"}})
	wants(t, page, `href="http://10.0.0.7:8137/c/`)
}
