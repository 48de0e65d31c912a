// What the pages of lead and server gain from a script. Without it they work
// the same, with a click or a reload more.
"use strict";
(() => {
  for (const b of document.querySelectorAll("[data-print]")) {
    b.hidden = false;
    b.addEventListener("click", () => print());
  }
  for (const b of document.querySelectorAll("[data-copy]")) {
    b.hidden = false;
    b.addEventListener("click", () => {
      document.getElementById(b.dataset.to).value = document.querySelector(`[name="${b.dataset.copy}"]`).value;
    });
  }
  for (const f of document.querySelectorAll("[data-autosubmit]")) {
    f.querySelector("select").addEventListener("change", () => f.submit());
    f.querySelector("button").hidden = true;
  }
  for (const b of document.querySelectorAll("[data-sure]"))
    b.addEventListener("click", (event) => { if (!confirm(b.dataset.sure)) event.preventDefault(); });
  // Parts that change while people taste are fetched again and put in place,
  // unless the person is in the middle of them.
  const live = [...document.querySelectorAll("[data-live]")];
  if (live.length) setInterval(async () => {
    if (document.hidden) return;
    try {
      const answer = await fetch(location.pathname, { headers: { "Accept": "text/html" } });
      if (!answer.ok || answer.redirected) return;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      for (const old of live) {
        const now = page.getElementById(old.id);
        if (now && now.innerHTML !== old.innerHTML && !old.contains(document.activeElement)) old.innerHTML = now.innerHTML;
      }
    } catch { /* the connection is lost: what is shown stays */ }
  }, 1000 * Math.min(...live.map((e) => Number(e.dataset.live))));
  const problem = document.getElementById("problem");
  if (problem) problem.focus();
})();
