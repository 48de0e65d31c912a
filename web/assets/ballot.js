// A ballot, one set at a time. Answers are put in the phone's own storage
// before anything is sent, and sent until the server says they are kept; each
// carries the id of its form, so that a second arrival is harmless. Nothing
// here knows what is in a cup: the page does not.
"use strict";
(() => {
  const root = document.getElementById("ballot");
  if (!root) return;
  const say = root.dataset;
  const key = "trivet-ballot:" + say.token;
  const status = document.getElementById("status");
  const sections = [...root.querySelectorAll("section.set")];
  const byId = new Map(sections.map((s) => [s.dataset.set, s]));

  // State: waiting answers in order, typing not yet sent, the end of a pause.
  let state = { queue: [], drafts: {}, until: 0 };
  let stored = true;
  try {
    Object.assign(state, JSON.parse(localStorage.getItem(key) || "{}"));
  } catch { stored = false; }
  const save = () => {
    try { localStorage.setItem(key, JSON.stringify(state)); } catch { stored = false; }
  };
  const tell = (text) => { if (status.textContent !== text) status.textContent = text; };

  // Sets whose answers wait on this phone are not shown again.
  const waiting = (set) => state.queue.some((q) => q.set === set);
  let open = sections.filter((s) => !waiting(s.dataset.set));

  const show = (el, focus) => {
    for (const s of root.querySelectorAll("section")) s.hidden = s !== el;
    window.scrollTo(0, 0);
    if (focus) el.querySelector("h1").focus();
  };

  let tick = 0;
  const pause = document.getElementById("pause");
  const timer = document.getElementById("timer");
  const next = document.getElementById("next");
  const goOn = (focus) => {
    clearInterval(tick);
    if (!open.length) { show(document.getElementById("done"), focus); return; }
    const left = () => Math.ceil((state.until - Date.now()) / 1000);
    if (left() <= 0) { show(open[0], focus); return; }
    next.disabled = true;
    show(pause, focus);
    tell(say.pausing);
    const draw = () => {
      const n = Math.max(0, left());
      timer.textContent = Math.floor(n / 60) + ":" + String(n % 60).padStart(2, "0");
      if (n === 0) {
        clearInterval(tick);
        next.disabled = false;
        tell(say.ready);
      }
    };
    draw();
    tick = setInterval(draw, 250);
  };
  next.addEventListener("click", () => show(open[0], true));

  // Sending: one at a time, in order, again and again until kept or refused.
  let sending = false, wait = 1000, later = 0;
  const flush = async () => {
    if (sending) return;
    sending = true;
    clearTimeout(later);
    while (state.queue.length) {
      const q = state.queue[0];
      let answer;
      try {
        answer = await fetch(q.action, {
          method: "POST", body: q.body, redirect: "error",
          headers: { "Accept": "application/json", "Content-Type": "application/x-www-form-urlencoded" },
        });
      } catch { answer = null; }
      if (!answer || answer.status >= 500 || answer.status === 429) {
        tell((stored ? say.waiting : say.unkept).replace("%d", state.queue.length));
        later = setTimeout(flush, wait);
        wait = Math.min(30000, wait * 2);
        sending = false;
        return;
      }
      wait = 1000;
      let body = {};
      try { body = await answer.json(); } catch { /* told below */ }
      state.queue.shift();
      if (answer.ok) {
        delete state.drafts[q.set];
        tell(say.kept);
      } else {
        refused(q, body.error || {});
      }
      save();
    }
    sending = false;
  };
  const refused = (q, e) => {
    const text = (e.message ? e.message + ". " + (e.fix ? e.fix + "." : "") : say.refused);
    tell(text);
    const section = byId.get(q.set);
    if (!section) return;
    let box = section.querySelector(".problem");
    if (!box) {
      box = document.createElement("div");
      box.className = "problem";
      box.setAttribute("role", "alert");
      section.querySelector("form").before(box);
    }
    box.textContent = text;
    // What was typed still stands in the form. It can be sent again only
    // where the server asked for more.
    if (e.code === "answer-incomplete" || e.code === "answer-id") {
      open = [section, ...open.filter((s) => s !== section)];
    } else {
      section.querySelector("form button").disabled = true;
    }
    show(section, true);
  };

  for (const section of sections) {
    const form = section.querySelector("form");
    const set = section.dataset.set;
    const draft = state.drafts[set];
    if (draft) fill(form, new URLSearchParams(draft));
    form.addEventListener("input", () => {
      const d = new URLSearchParams(new FormData(form));
      d.delete("id"); d.delete("set");
      state.drafts[set] = d.toString();
      const boxes = form.querySelectorAll('input[type=checkbox][name=choice]');
      if (boxes.length) boxes[0].setCustomValidity("");
      save();
    });
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const need = Number(form.dataset.choose);
      const boxes = form.querySelectorAll('input[type=checkbox][name=choice]');
      if (boxes.length) {
        const n = [...boxes].filter((b) => b.checked).length;
        boxes[0].setCustomValidity(n === need ? "" : say.choose.replace("%d", need));
      }
      if (!form.reportValidity()) return;
      const body = new URLSearchParams(new FormData(form)).toString();
      state.queue.push({ set, action: form.getAttribute("action"), body });
      open = open.filter((s) => s !== section);
      if (open.length) state.until = Date.now() + 1000 * Number(say.pause);
      save();
      goOn(true);
      flush();
    });
  }

  function fill(form, values) {
    for (const el of form.elements) {
      if (!el.name || el.type === "hidden") continue;
      const given = values.getAll(el.name);
      if (el.type === "radio" || el.type === "checkbox") el.checked = given.includes(el.value);
      else if (given.length) el.value = given[0];
    }
  }

  for (const note of root.querySelectorAll(".pause-note")) note.hidden = true;
  addEventListener("online", () => { wait = 1000; flush(); });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) flush(); });
  addEventListener("beforeunload", (event) => { if (state.queue.length && !stored) event.preventDefault(); });
  // Coming back by the browser's back button shows what is true now.
  addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
  goOn(false);
  flush();
})();
