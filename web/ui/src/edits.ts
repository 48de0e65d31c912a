// Edits are shown at once and confirmed or taken back when the server has
// spoken. The form is sent as it would be without scripts, and the page that
// comes back says all there is to say: the new text, or the refused form with
// its message, both versions of a clash, and what was typed.

import { sent } from "./signin";

type Wire = (root: ParentNode) => void;

export function followEdits(root: ParentNode, wire: Wire): void {
  for (const form of root.querySelectorAll<HTMLFormElement>('form[action$="/edit"], details.edit > form[action$="/entries"]')) {
    form.addEventListener("submit", (e) => {
      e.preventDefault();
      void save(form, wire);
    });
  }
}

async function save(form: HTMLFormElement, wire: Wire): Promise<void> {
  const paper = form.closest<HTMLElement>("article");
  const fold = form.closest("details");
  if (!paper || !fold) return form.submit();
  const takeBack = showAtOnce(form, fold, paper);
  const body = new URLSearchParams();
  for (const [name, value] of new FormData(form)) if (typeof value === "string") body.append(name, value);
  form.querySelector("button")?.setAttribute("disabled", "");
  try {
    const answer = await sent(form.action, { method: "POST", body, headers: { "X-Have": "shell" } });
    // Signing in was put off: sent as a page of its own, the form is kept
    // there and goes on its way after.
    if (answer.status === 401) return form.submit();
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = page.querySelector<HTMLElement>("article.paper");
    if (!fresh) throw new Error("no page");
    takeBack();
    if (answer.ok) {
      put(paper, fresh, fold, wire);
      frame(paper, page);
      const again = document.getElementById(fold.id)?.querySelector<HTMLElement>("summary") ?? document.querySelector<HTMLElement>("[data-takeback]");
      again?.focus({ preventScroll: true });
      if (paper.querySelector("[data-have]")) document.dispatchEvent(new Event("coming"));
    } else {
      refuse(fresh, fold, wire);
    }
  } catch {
    takeBack();
    fold.open = true;
    form.querySelector("button")?.removeAttribute("disabled");
    form.querySelector(".lost")?.remove();
    const box = document.createElement("div");
    box.className = "problem lost";
    box.setAttribute("role", "alert");
    box.append(Object.assign(document.createElement("p"), { textContent: paper.dataset.lost ?? "" }));
    form.prepend(box);
  }
}

/** frame takes over what stands around the paper: the page's title, and whether
 * the data are invented. */
function frame(paper: HTMLElement, page: Document): void {
  document.title = page.title;
  const is = page.querySelector("main > .invented");
  document.querySelector("main > .invented")?.remove();
  if (is) paper.before(document.importNode(is, true));
}

/** showAtOnce shows what was typed where it will stand, marked as being saved. */
function showAtOnce(form: HTMLFormElement, fold: HTMLDetailsElement, paper: HTMLElement): () => void {
  const undo: (() => void)[] = [];
  const says: string[] = [];
  for (const field of form.querySelectorAll<HTMLInputElement | HTMLTextAreaElement | HTMLSelectElement>('[name^="set:"]')) {
    const path = field.name.slice(4);
    const was = form.elements.namedItem(`was:${path}`);
    if (was instanceof HTMLInputElement && was.value === field.value) continue;
    const label = form.querySelector(`label[for="${CSS.escape(field.id)}"]`)?.textContent ?? path;
    const value = field instanceof HTMLSelectElement ? (field.selectedOptions[0]?.textContent ?? field.value) : field.value;
    says.push(`${label}: ${value}`);
    const shown = paper.querySelector<HTMLElement>(`[data-shows="${CSS.escape(path)}"]`);
    if (!shown) continue;
    const before = shown.textContent;
    shown.textContent = value;
    shown.classList.add("saving");
    undo.push(() => {
      shown.textContent = before;
      shown.classList.remove("saving");
    });
  }
  const line = document.createElement("p");
  line.className = "saving";
  line.setAttribute("role", "status");
  line.textContent = `${paper.dataset.saving ?? ""} ${says.join("; ")}`;
  fold.before(line);
  fold.open = false;
  return () => {
    line.remove();
    for (const f of undo) f();
  };
}

/** typedIn tells whether a part of the page holds typing that is not saved. */
function typedIn(part: HTMLElement, but: Element): boolean {
  return [...part.querySelectorAll<HTMLInputElement | HTMLTextAreaElement>("details.edit input:not([type=hidden]), details.edit textarea")].some(
    (f) => !but.contains(f) && (f.type === "checkbox" || f.type === "radio" ? (f as HTMLInputElement).checked !== (f as HTMLInputElement).defaultChecked : f.value !== f.defaultValue),
  );
}

/** put replaces the parts of the page by fresh ones, but for those with typing
 * that is not saved; a part that is still to come stays as it was, greyed. */
function put(paper: HTMLElement, fresh: HTMLElement, saved: Element, wire: Wire): void {
  const have = fresh.querySelector<HTMLElement>(":scope > [data-have]"); // what there is of it, where not all
  if (have) {
    have.remove();
    paper.querySelector(":scope > [data-have]")?.remove();
    paper.append(document.importNode(have, true));
  }
  for (const part of [...fresh.children] as HTMLElement[]) {
    const old = part.id ? document.getElementById(part.id) : paper.querySelector<HTMLElement>(":scope > header.title");
    if (!old || typedIn(old, saved)) continue;
    if (part.hasAttribute("data-coming")) {
      old.setAttribute("data-coming", "");
      continue;
    }
    const next = document.importNode(part, true);
    for (const late of [next, ...next.querySelectorAll<HTMLElement>("[data-coming]")]) {
      const there = late.hasAttribute("data-coming") ? document.getElementById(late.id) : null;
      if (!there) continue;
      const kept = there.cloneNode(true) as HTMLElement;
      kept.setAttribute("data-coming", "");
      kept.classList.add("stale");
      late.replaceWith(kept);
    }
    const open = new Set([...old.querySelectorAll("details[open]")].map((d) => d.querySelector("summary")?.textContent));
    old.replaceWith(next);
    for (const d of next.querySelectorAll("details")) if (!d.classList.contains("edit") && open.has(d.querySelector("summary")?.textContent)) d.open = true;
    wire(next);
  }
}

/** refuse puts the refused form in the place of the one that was sent. */
function refuse(fresh: HTMLElement, fold: HTMLDetailsElement, wire: Wire): void {
  const form = fresh.querySelector<HTMLDetailsElement>(`#${CSS.escape(fold.id)}`);
  if (!form) return location.reload();
  const next = document.importNode(form, true);
  fold.replaceWith(next);
  wire(next);
  const at = next.querySelector<HTMLElement>("[role=alert]");
  at?.scrollIntoView({ block: "nearest" });
  (at?.querySelector<HTMLElement>("input:not([type=hidden])") ?? next.querySelector<HTMLElement>("[aria-invalid]"))?.focus();
}
