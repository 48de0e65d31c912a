package web

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
)

// hands work on a page as a person's do: they find fields and buttons by the
// words that are read there, click where those stand, and type. What they do
// goes through the browser's own events of mouse and keyboard; the page's
// script is asked where things are, and for nothing else.
type hands struct {
	p     *person
	where []string
}

// in goes to a part of the page: "#plan" by its id, anything else by the words
// of its heading, legend or summary.
func (h hands) in(part ...string) hands {
	return hands{h.p, append(append([]string{}, h.where...), part...)}
}

func (p *person) hands(where ...string) hands { return hands{p, where} }

// seeing is how things are found. Of several of one name the first in view is
// meant.
const seeing = `((where, kind, name) => {
	const words = (e) => e.textContent.replace(/\s+/g, " ").trim();
	const inView = (e) => e.checkVisibility({visibilityProperty: true}) && e.getBoundingClientRect().width > 0;
	const find = (all, is) => all.find((e) => words(e) === is && inView(e)) ?? all.find((e) => words(e).startsWith(is) && inView(e));
	let root = document.querySelector("main");
	for (const part of where) {
		if (!root) break;
		if (/^[#.]|^section/.test(part)) { root = root.querySelector(part); continue; }
		const head = find([...root.querySelectorAll("legend, h2, h3, h4, summary")], part);
		root = head ? head.closest("fieldset, details, section, li, .treatment, form") : null;
	}
	if (!root) return {missing: "no part " + where.join(" > ")};
	let target, at;
	if (kind === "field") {
		const label = find([...root.querySelectorAll("label")], name);
		if (!label) return {missing: "no field " + name};
		target = label.control;
		at = target instanceof HTMLSelectElement || ["checkbox", "radio"].includes(target?.type) ? label : target;
	} else {
		const these = {button: "button, a.button", link: "a", fold: "summary"}[kind];
		target = at = find([...root.querySelectorAll(these)], name);
	}
	if (!target) return {missing: "no " + kind + " " + name};
	if (target.disabled) return {missing: "disabled: " + kind + " " + name};
	let box = at.getBoundingClientRect();
	if (box.top < 0 || box.bottom > innerHeight) { at.scrollIntoView({block: "center", behavior: "instant"}); box = at.getBoundingClientRect(); }
	const x = box.left + Math.min(box.width / 2, 60), y = box.top + Math.min(box.height / 2, 24);
	const there = document.elementFromPoint(x, y);
	if (!there || !(at.contains(there) || there.contains(at))) return {missing: kind + " " + name + " is covered by " + there?.outerHTML.slice(0, 80)};
	return {x, y, value: target.value ?? "", index: target.selectedIndex ?? -1, options: [...(target.options ?? [])].map((o) => o.text.replace(/\s+/g, " ").trim()),
		focused: document.activeElement === target, open: target.closest("details")?.open ?? false, checked: target.checked ?? false};
})`

// spot is something that was found, and where to click it.
type spot struct {
	Missing string
	X, Y    float64
	Value   string
	Index   int
	Options []string
	Focused bool
	Open    bool
	Checked bool
}

// look finds something once.
func (h hands) look(kind, name string) (spot, error) {
	ask, _ := json.Marshal([]any{h.where, kind, name})
	script := seeing + "(..." + string(ask) + ")"
	if h.where == nil {
		script = seeing + "([], ..." + strings.Replace(string(ask), "[null,", "[", 1) + ")"
	}
	return chromedp.Run(h.p.ctx, chromedp.Evaluate[spot](script))
}

// finds waits until something is there and stands still.
func (h hands) finds(kind, name string) spot {
	h.p.Helper()
	var last spot
	var err error
	for range 400 {
		var s spot
		if s, err = h.look(kind, name); err == nil && s.Missing == "" {
			if s.X == last.X && s.Y == last.Y {
				return s
			}
			last = s
			continue
		}
		last = s
		time.Sleep(15 * time.Millisecond)
	}
	h.p.shot("failure")
	h.p.Fatalf("%s: %q %s %q: %s %v", h.p.name, h.where, kind, name, last.Missing, err)
	return last
}

func call[P, R any](p *person, command cdp.Command[P, R], params P) {
	p.Helper()
	p.do(chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, command, params)
		return err
	}))
}

func (h hands) click(s spot) {
	h.p.Helper()
	for _, kind := range []input.DispatchMouseEventType{"mousePressed", "mouseReleased"} {
		call(h.p, input.DispatchMouseEvent, input.DispatchMouseEventParams{Type: kind, X: s.X, Y: s.Y, Button: "left", ClickCount: 1})
	}
}

func (h hands) key(name string, code, modifiers int64, commands ...string) {
	h.p.Helper()
	call(h.p, input.DispatchKeyEvent, input.DispatchKeyEventParams{Type: "rawKeyDown", Key: name, Code: name, WindowsVirtualKeyCode: code, Modifiers: modifiers, Commands: commands})
	call(h.p, input.DispatchKeyEvent, input.DispatchKeyEventParams{Type: "keyUp", Key: name, Code: name, WindowsVirtualKeyCode: code, Modifiers: modifiers})
}

// types writes over what stands in fields: label, text, label, text …
func (h hands) types(pairs ...string) hands {
	h.p.Helper()
	for i := 0; i+1 < len(pairs); i += 2 {
		label, text := pairs[i], pairs[i+1]
		s, err := h.look("field", label) // what stood still for the field before does so for this
		if i == 0 || err != nil || s.Missing != "" {
			s = h.finds("field", label)
		}
		if s.Value == text && len(s.Options) == 0 {
			continue
		}
		if len(s.Options) > 0 {
			h.picks(label, text)
			continue
		}
		for range 5 {
			h.click(s)
			if s, err = h.look("field", label); err == nil && s.Focused {
				break
			}
			s = h.finds("field", label)
		}
		h.key("a", 65, 2, "selectAll")
		if text == "" {
			h.key("Backspace", 8, 0)
		} else {
			call(h.p, input.InsertText, input.InsertTextParams{Text: text})
		}
		got, err := h.look("field", label)
		if err != nil || got.Missing != "" {
			got = h.finds("field", label)
		}
		if got.Value != text {
			h.p.shot("failure")
			h.p.Fatalf("%s: %q holds %q after %q was typed", h.p.name, label, got.Value, text)
		}
	}
	return h
}

// picks chooses from a list with the arrow keys; its label takes the focus
// there.
func (h hands) picks(label, option string) hands {
	h.p.Helper()
	s := h.finds("field", label)
	want := -1
	for i, o := range s.Options {
		if o == option || want < 0 && strings.HasPrefix(o, option) {
			want = i
			if o == option {
				break
			}
		}
	}
	if want < 0 {
		h.p.Fatalf("%s: %q does not offer %q but %q", h.p.name, label, option, s.Options)
	}
	if s.Index == want {
		return h
	}
	h.click(s)
	for range 3 * len(s.Options) {
		switch {
		case s.Index < want:
			h.key("ArrowDown", 40, 0)
		case s.Index > want:
			h.key("ArrowUp", 38, 0)
		default:
			return h
		}
		if s, _ = h.look("field", label); s.Missing != "" {
			s = h.finds("field", label)
		}
	}
	h.p.shot("failure")
	h.p.Fatalf("%s: %q stays at %q, wanted %q", h.p.name, label, s.Options[s.Index], option)
	return h
}

// ticks sets a check mark or chooses a radio button.
func (h hands) ticks(label string) hands {
	h.p.Helper()
	if s := h.finds("field", label); !s.Checked {
		h.click(s)
		if !h.finds("field", label).Checked {
			h.p.Fatalf("%s: %q was not ticked", h.p.name, label)
		}
	}
	return h
}

// unfolds opens a fold by its summary, unless it is open, and goes inside.
func (h hands) unfolds(summary string) hands {
	h.p.Helper()
	for range 5 {
		s := h.finds("fold", summary)
		if s.Open {
			return h.in(summary)
		}
		h.click(s)
		h.p.do(chromedp.Func(func(context.Context, *chromedp.Target) error { time.Sleep(10 * time.Millisecond); return nil }))
	}
	h.p.Fatalf("%s: %q does not open", h.p.name, summary)
	return h
}

// clicks presses a button and waits for nothing.
func (h hands) clicks(button string) { h.p.Helper(); h.click(h.finds("button", button)) }

// goes presses a button or follows a link that leads to another page, and
// waits until that is whole.
func (h hands) goes(kind, name string) {
	h.p.Helper()
	h.leaves(kind, name)
	h.p.settled()
}

// passes is goes where the page on the way need not be whole: it is left again.
func (h hands) passes(kind, name string) {
	h.p.Helper()
	h.leaves(kind, name)
	h.p.waitsLong(`document.readyState === "complete"`)
}

// leaves clicks what leads to another page until that page comes. A link that
// moved away under the click, as links do while a page fills in, is clicked
// again.
func (h hands) leaves(kind, name string) {
	h.p.Helper()
	h.p.do(chromedp.Evaluate[chromedp.Void](`window.before = true`))
	for begin := time.Now(); time.Since(begin) < time.Minute; {
		h.click(h.finds(kind, name))
		for range 100 {
			if gone, err := chromedp.Run(h.p.ctx, chromedp.Evaluate[bool](`!window.before`)); err == nil && gone {
				return
			} else if kind != "button" {
				time.Sleep(20 * time.Millisecond)
				continue
			}
			h.p.waitsLong(`!window.before`)
			return
		}
	}
	h.p.shot("failure")
	h.p.Fatalf("%s: %s %q leads nowhere", h.p.name, kind, name)
}

func (h hands) presses(button string) { h.p.Helper(); h.goes("button", button) }

func (h hands) follows(link string) { h.p.Helper(); h.goes("link", link) }

// saves presses the button of a form that the page saves by itself, and waits
// until what was saved stands there.
func (h hands) saves(button string) {
	h.p.Helper()
	fold := h.where[len(h.where)-1]
	h.click(h.finds("button", button))
	outer := hands{h.p, h.where[:len(h.where)-1]}
	for range 1200 {
		s, err := outer.look("fold", fold)
		if err == nil && (s.Missing != "" || !s.Open) {
			h.p.settled()
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	h.p.shot("failure")
	h.p.Fatalf("%s: %q was not saved: %s", h.p.name, fold, fmt.Sprint(h.p.list(`[...document.querySelectorAll("[role=alert]")].map((e) => e.textContent)`)))
}
