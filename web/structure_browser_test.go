package web

import (
	"context"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/chromedp"
)

// spoken is a thing of a page as a screen reader meets it, in its order.
type spoken struct {
	role, name, level, live string
	parent                  string // role of the nearest thing around it that is not ignored
}

// aloud is the accessibility tree of the page as it stands, in reading order.
func (p *person) aloud() (out []spoken) {
	p.Helper()
	var nodes []*accessibility.Node
	get := chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		got, err := cdp.Call(ctx, t, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
		nodes = got.Nodes
		return err
	})
	if err := chromedp.Do(p.ctx, get); err != nil {
		p.Fatal(err)
	}
	text := func(v *accessibility.Value) string {
		if v == nil {
			return ""
		}
		return strings.Trim(string(v.Value), `"`)
	}
	by := map[accessibility.NodeID]*accessibility.Node{}
	for _, n := range nodes {
		by[n.NodeID] = n
	}
	var walk func(id accessibility.NodeID, parent string)
	walk = func(id accessibility.NodeID, parent string) {
		n := by[id]
		if n == nil {
			return
		}
		if !n.Ignored && text(n.Role) != "none" && text(n.Role) != "generic" {
			s := spoken{role: text(n.Role), name: text(n.Name), parent: parent}
			for _, x := range n.Properties {
				switch x.Name {
				case "level":
					s.level = text(x.Value)
				case "live":
					s.live = text(x.Value)
				}
			}
			out = append(out, s)
			parent = s.role
		}
		for _, c := range n.ChildIDs {
			walk(c, parent)
		}
	}
	if len(nodes) > 0 {
		walk(nodes[0].NodeID, "")
	}
	return out
}

// structure tells what would lose somebody who listens to a page: landmarks
// that are missing, doubled or without a name, headings out of order, controls
// without a name.
func structure(page []spoken) (bad []string) {
	landmarks, level := map[string][]string{}, 0
	for _, s := range page {
		switch s.role {
		case "main", "banner", "contentinfo", "navigation", "complementary", "region", "search":
			if slices.Contains(landmarks[s.role], s.name) {
				bad = append(bad, "two landmarks "+s.role+" “"+s.name+"”")
			}
			landmarks[s.role] = append(landmarks[s.role], s.name)
			if (s.role == "navigation" || s.role == "region" || s.role == "complementary") && s.name == "" {
				bad = append(bad, "a "+s.role+" without a name")
			}
		case "heading":
			n := int(s.level[0] - '0')
			if level == 0 && n != 1 {
				bad = append(bad, "the first heading is of level "+s.level+": "+s.name)
			}
			if level > 0 && n == 1 {
				bad = append(bad, "a second heading of level 1: "+s.name)
			}
			if n > level+1 {
				bad = append(bad, "a heading skips a level: "+s.name)
			}
			if s.name == "" {
				bad = append(bad, "an empty heading")
			}
			level = n
		case "button", "link", "textbox", "searchbox", "combobox", "checkbox", "radio", "slider", "spinbutton", "image", "table", "progressbar", "DisclosureTriangle", "dialog", "radiogroup":
			if s.name == "" {
				bad = append(bad, "a "+s.role+" without a name in a "+s.parent)
			}
		}
	}
	if len(landmarks["main"]) != 1 {
		bad = append(bad, "not one main")
	}
	if level == 0 {
		bad = append(bad, "no heading")
	}
	return bad
}

// The main pages as a screen reader meets them, by the browser's accessibility
// tree, folded and unfolded.
func TestTheStructureOfPagesInABrowser(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes a browser and several seconds")
	}
	chromium := browser(t)
	d, links := openEverything(t)
	needsScripts(t, d)
	label := d.record(demoID).Cooks[0].Label
	const at = "/studies/" + demoID
	var offline atomic.Bool
	offline.Store(true)
	says := map[string]string{ // live regions that pages with things that move must have
		at + "/cooks/" + label: "status",
		at + "/load":           "",
	}
	for _, v := range []struct {
		who   string
		pages []string
	}{
		{"lead", []string{"/", "/trash", at, at + "/treatments/sear-first", at + "/cooks", at + "/cooks/" + label, at + "/load", at + "/pieces", at + "/traces", "/links", "/audit", "/tastings", "/tastings/new?study=" + demoID, links["running"], links["closed"]}},
		{"assessor", []string{links["assessor"]}}, {"taster", []string{links["tasting"]}}, {"server", []string{links["server"]}}, {"watcher", []string{links["result"]}},
	} {
		p := newPerson(t, chromium, v.who+"-aloud", d.http.URL, 1280, 900, false, &offline)
		for _, page := range v.pages {
			p.do(chromedp.Navigate(p.base + page))
			p.waitsLong(`document.readyState === "complete" && !document.querySelector("[data-have]")`)
			for _, unfolded := range []bool{false, true} {
				if unfolded {
					p.do(chromedp.Evaluate[chromedp.Void](`for (const d of document.querySelectorAll("details")) d.open = true`))
				}
				heard := p.aloud()
				for _, b := range structure(heard) {
					t.Errorf("%s %s, unfolded %v: %s", v.who, page, unfolded, b)
				}
				if want := says[page]; want != "" && !slices.ContainsFunc(heard, func(s spoken) bool { return s.role == want && s.live != "" && s.live != "off" }) {
					t.Errorf("%s says nothing of what changes: no live %s", page, want)
				}
				if len(heard) < 8 {
					t.Errorf("%s: only %d things", page, len(heard))
				}
			}
		}
	}
}

// A structure in which a listener is lost is found.
func TestTheStructureFindsFaults(t *testing.T) {
	for name, page := range map[string][]spoken{
		"no main":                {{role: "heading", level: "1", name: "A"}},
		"no heading":             {{role: "main"}},
		"a level skipped":        {{role: "main"}, {role: "heading", level: "1", name: "A"}, {role: "heading", level: "3", name: "B"}},
		"begins at the second":   {{role: "main"}, {role: "heading", level: "2", name: "A"}},
		"a button without name":  {{role: "main"}, {role: "heading", level: "1", name: "A"}, {role: "button"}},
		"two regions alike":      {{role: "main"}, {role: "heading", level: "1", name: "A"}, {role: "region", name: "x"}, {role: "region", name: "x"}},
		"a nav without name":     {{role: "main"}, {role: "heading", level: "1", name: "A"}, {role: "navigation"}},
		"two first headings":     {{role: "main"}, {role: "heading", level: "1", name: "A"}, {role: "heading", level: "1", name: "B"}},
		"an input without label": {{role: "main"}, {role: "heading", level: "1", name: "A"}, {role: "textbox"}},
	} {
		if len(structure(page)) == 0 {
			t.Errorf("%s is not found", name)
		}
	}
}

// The doors, at every size, light and dark: signing in, the certificate, and a
// link that opens nothing.
func TestTheDoorsForEverybody(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes a browser and several seconds")
	}
	checker := axe(t)
	chromium := browser(t)
	hash := passphraseHash(t)
	root, err := OpenKitchenRoot(t.TempDir(), kitchenTime)
	if err != nil {
		t.Fatal(err)
	}
	d := openDeskWith(t, Options{PassphraseHash: hash, Root: root})
	var offline atomic.Bool
	offline.Store(true)
	for _, size := range []struct {
		name string
		w, h int64
	}{{"phone", 390, 844}, {"tablet", 820, 1180}, {"desktop", 1440, 900}} {
		for _, dark := range []bool{false, true} {
			p := newPerson(t, chromium, "door-"+size.name, d.http.URL, size.w, size.h, dark, &offline)
			for _, page := range []string{"/login", "/certificate", "/r/AAAAAAAAAAAAAAAAAAAAAAAA"} {
				p.open(page)
				p.do(chromedp.Evaluate[chromedp.Void](`for (const d of document.querySelectorAll("details")) d.open = true`))
				p.check()
				p.violations(checker)
				for _, b := range structure(p.aloud()) {
					t.Errorf("%s, %s: %s", size.name, page, b)
				}
				if dark {
					p.shot("dark" + strings.ReplaceAll(page, "/", "_"))
				} else {
					p.shot(strings.ReplaceAll(page, "/", "_"))
				}
			}
		}
	}
}
