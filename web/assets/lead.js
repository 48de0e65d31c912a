// What the lead's pages gain from a script. Without it they work the same,
// with one click more.
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
  const problem = document.getElementById("problem");
  if (problem) problem.focus();
})();
