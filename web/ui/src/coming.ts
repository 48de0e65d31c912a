// A page comes at once, with those parts left open that take longer. The
// script asks for the rest, saying what it has, and puts each part in place
// when it is there. Without scripts the page asks again by itself.

// A link into the page (study#finding-loss) may name what is still to come:
// the page goes there when it is in place, unless the person has moved on.
let moved = false;
for (const kind of ["wheel", "touchmove", "pointerdown", "keydown"]) window.addEventListener(kind, () => (moved = true), { passive: true });

function arrive(): void {
  if (moved || location.hash.length < 2) return;
  const at = document.getElementById(decodeURIComponent(location.hash.slice(1)));
  if (!at) return;
  const fold = at.closest("details");
  if (fold) fold.open = true;
  at.scrollIntoView();
}

/** fillIn asks until the page is whole; wire is called on what was put in. */
export async function fillIn(wire: (root: ParentNode) => void): Promise<void> {
  for (let tries = 0; tries < 60; tries++) {
    const at = document.querySelector<HTMLElement>("[data-have]");
    if (!at) return;
    const have = at.dataset.have ?? "";
    let page: Document;
    try {
      const answer = await fetch(at.dataset.page ?? location.href, { headers: { "X-Have": have }, cache: "no-store" });
      if (!answer.ok) return;
      page = new DOMParser().parseFromString(await answer.text(), "text/html");
    } catch {
      return; // the server is gone: the page says where to ask again
    }
    const next = page.querySelector<HTMLElement>("[data-have]");
    if (have === "shell") {
      const into = document.getElementById("main");
      const from = page.getElementById("main");
      if (!into || !from || next?.dataset.have === "shell") continue;
      document.title = page.title;
      into.replaceChildren(...from.childNodes);
      wire(into);
      arrive();
      continue;
    }
    const whole = next === null;
    for (const part of document.querySelectorAll<HTMLElement>("[data-coming]")) {
      const there = page.getElementById(part.id);
      if (!there || (!whole && there.hasAttribute("data-coming"))) continue;
      const fresh = document.importNode(there, true);
      // A line keeps the room it had, so that what is below it stays put.
      if (part.matches("p")) fresh.classList.add("came");
      part.replaceWith(fresh);
      wire(fresh);
    }
    arrive();
    if (whole) at.removeAttribute("data-have");
  }
}
