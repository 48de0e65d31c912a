// The study's page and its cook files.
import { fillIn } from "./coming";
import { keepDrafts } from "./drafts";
import { followEdits } from "./edits";
import { followLists } from "./lists";
import { Follower } from "./live";

function formData(form: HTMLFormElement): URLSearchParams {
  const out = new URLSearchParams();
  for (const [name, value] of new FormData(form)) if (typeof value === "string") out.append(name, value);
  return out;
}

/** meaning: what a margin is in the mouth or on the clock, as it is typed. */
function followMargins(root: ParentNode): void {
  for (const box of root.querySelectorAll<HTMLElement>("[data-meaning]")) {
    const form = box.closest("li")?.querySelector("form");
    if (!form) continue;
    const follower = new Follower(box, 120);
    const field = (end: string): string =>
      [...form.elements].find((e): e is HTMLInputElement => "name" in e && String(e.name).startsWith("set:") && String(e.name).endsWith(end))?.value ?? "";
    form.addEventListener("input", () =>
      follower.ask(() => new Request(`${box.dataset.meaning}?${new URLSearchParams({ response: field("].response"), margin: field("].margin") })}`)),
    );
  }
}

/** trials: how an entry would stand, or what is wrong with it so far. */
function followTrials(root: ParentNode): void {
  for (const box of root.querySelectorAll<HTMLElement>("[data-trial]")) {
    const form = box.closest("form");
    if (!form) continue;
    const follower = new Follower(box, 200);
    const fields = [...form.elements].filter((e): e is HTMLInputElement => "name" in e && String(e.name).startsWith("set:"));
    const mark = (): void => {
      const wrong = new Set([...box.querySelectorAll<HTMLElement>("[data-wrong]")].map((e) => `set:${e.dataset.wrong}`));
      for (const f of fields) {
        if (wrong.has(f.name)) f.setAttribute("aria-invalid", "true");
        else f.removeAttribute("aria-invalid");
      }
    };
    form.addEventListener("input", () => follower.ask(() => new Request(`${box.dataset.trial}?${formData(form)}`), undefined, mark));
  }
}

/** power: the curve moves with margin and SD. */
function followPower(root: ParentNode): void {
  for (const form of root.querySelectorAll<HTMLFormElement>("form[data-try]")) {
    const into = form.parentElement?.querySelector<HTMLElement>("[data-result]");
    if (!into) continue;
    const follower = new Follower(into, 80);
    const ask = (): void =>
      follower.ask(
        () => new Request(`${form.action}?${formData(form)}`, { headers: { "X-Part": "power" } }),
        (part) => part.querySelector<HTMLElement>("[data-result]"),
      );
    form.addEventListener("input", (e) => {
      if ((e.target as HTMLElement).id === "power-question") {
        // Another question has its own margin and scatter.
        for (const name of ["margin", "sd"]) (form.elements.namedItem(name) as HTMLInputElement).value = "";
      }
      ask();
    });
    form.addEventListener("submit", (e) => {
      e.preventDefault();
      ask();
    });
  }
}

/** prediction: trace and cut face follow the cook file. */
function followCookFile(): void {
  const form = document.querySelector<HTMLFormElement>("form[data-predict]");
  const into = document.querySelector<HTMLElement>(".predicted [data-result]");
  if (!form || !into) return;
  const follower = new Follower(into, 40);
  form.addEventListener("input", () => follower.ask(() => new Request(form.dataset.predict ?? "", { method: "POST", body: formData(form) })));
}

/** overlay: the traces of all cooks; the plot is fetched where there is one. */
async function followOverlay(root: ParentNode): Promise<void> {
  const box = root.querySelector<HTMLElement>("[data-overlay]");
  if (!box?.dataset.script || box.dataset.started) return;
  box.dataset.started = "yes";
  const sheet = document.createElement("link");
  sheet.rel = "stylesheet";
  sheet.href = box.dataset.sheet ?? "";
  document.head.append(sheet);
  const plot = (await import(box.dataset.script)) as { start(root: HTMLElement): Promise<void> };
  await plot.start(box);
}

/** fetchLate fetches what paper needs and nobody has scrolled to, when nothing else is waited for. */
function fetchLate(): void {
  if (document.querySelector("[data-have]")) {
    window.setTimeout(fetchLate, 1000);
    return;
  }
  for (const img of document.querySelectorAll<HTMLImageElement>('img[loading="lazy"]')) img.loading = "eager";
}

/** wire gives what was put into the page its behaviour. */
function wire(root: ParentNode): void {
  keepDrafts(root);
  followMargins(root);
  followTrials(root);
  followPower(root);
  followLists(root);
  followEdits(root, wire);
  void followOverlay(root);
}

wire(document);
window.addEventListener("load", () => window.setTimeout(fetchLate, 5000));
followCookFile();
void fillIn(wire);
document.addEventListener("coming", () => void fillIn(wire));

// A link to a folded form opens it.
function unfold(): void {
  const at = location.hash.length > 1 ? document.getElementById(location.hash.slice(1)) : null;
  const fold = at?.closest("details");
  if (fold) fold.open = true;
}
window.addEventListener("hashchange", unfold);
unfold();
