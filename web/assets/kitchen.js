// Watches over a page's connection: says when the server is lost and keeps
// forms from being sent into nothing; starts the offline worker and keeps the
// screen on where the connection is encrypted; and tries, from a plain page
// and in silence, whether this device has the kitchen's certificate.
"use strict";
(() => {
  const strip = document.getElementById("kitchen");
  if (!strip) return;
  const say = strip.dataset;
  const said = strip.querySelector("[data-said]");

  // The server, asked when something is about to be sent and now and then.
  let lost = false, heard = Date.now();
  const banner = document.createElement("p");
  banner.className = "problem lost";
  banner.setAttribute("role", "alert");
  const tell = (text, before) => {
    banner.textContent = text;
    if (before) before.before(banner); else document.body.prepend(banner);
  };
  const ask = async () => {
    try {
      const stop = AbortSignal.timeout(4000);
      const answer = await fetch("/alive", { cache: "no-store", signal: stop });
      if (answer.status !== 204) throw new Error();
      heard = Date.now();
      if (lost) {
        lost = false;
        banner.remove();
        said.textContent = say.back;
      }
    } catch {
      if (!lost) {
        lost = true;
        said.textContent = "";
        tell(say.lost);
      }
    }
    return !lost;
  };
  setInterval(() => { if (!document.hidden) ask(); }, 10000);
  addEventListener("online", ask);
  addEventListener("offline", ask);

  // A form is sent once the server has answered; what is typed stays in it
  // until then. A ballot has its own way of waiting.
  let through = null;
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form === through || form.closest("#ballot") || form.method !== "post") { through = null; return; }
    if (!lost && Date.now() - heard < 2000) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    const by = event.submitter;
    ask().then((there) => {
      if (!there) { tell(say.unsent, by && (by.closest("form p, form div") || by)); return; }
      through = form;
      form.requestSubmit(by && by.form === form ? by : undefined);
      through = null;
    });
  }, true);

  // The certificate: whether an answer under TLS comes at all.
  for (const place of document.querySelectorAll("[data-probe]")) {
    const show = (name, on) => { const e = place.querySelector(name); if (e) e.hidden = !on; };
    const probe = async () => {
      let trusted = false;
      try {
        await fetch(place.dataset.probe, { mode: "no-cors", cache: "no-store", credentials: "omit", signal: AbortSignal.timeout(5000) });
        trusted = true;
      } catch { /* no certificate here: the page stays plain */ }
      show("[data-trusted]", trusted);
      show("[data-untrusted]", !trusted);
      show("[data-offer]", trusted && !begun());
    };
    const retry = place.querySelector("[data-retry]");
    if (retry) retry.addEventListener("click", probe);
    probe();
  }
  // Answers that wait on this phone wait under this very address.
  function begun() {
    const ballot = document.getElementById("ballot");
    if (!ballot) return false;
    try {
      const s = JSON.parse(localStorage.getItem("trivet-ballot:" + ballot.dataset.token) || "{}");
      return (s.queue || []).length > 0 || Object.keys(s.drafts || {}).length > 0;
    } catch { return true; }
  }

  if (!window.isSecureContext || !say.worker) return;
  if ("serviceWorker" in navigator) navigator.serviceWorker.register(say.worker).catch(() => {});
  if (!("wakeLock" in navigator)) return;
  // The screen, kept on while somebody wants it and the page is in view.
  let lock = null, wanted = false;
  const button = document.createElement("button");
  button.type = "button";
  button.className = "plain quiet";
  button.setAttribute("aria-pressed", "false");
  button.textContent = say.awake;
  const hold = async () => {
    if (!wanted || document.hidden || lock) return;
    try {
      lock = await navigator.wakeLock.request("screen");
      lock.addEventListener("release", () => { lock = null; });
    } catch { wanted = false; said.textContent = say.asleep; }
    button.setAttribute("aria-pressed", String(wanted));
  };
  button.addEventListener("click", () => {
    wanted = !wanted;
    button.setAttribute("aria-pressed", String(wanted));
    if (wanted) hold(); else if (lock) lock.release();
  });
  document.addEventListener("visibilitychange", hold);
  strip.append(button);
})();
