// What was typed into a form and not saved yet is kept in the browser, so
// that a reload, a lost server or a closed lid loses none of it.

interface Draft {
  /** values by field name */
  typed: Record<string, string>;
  /** what the fields held when typing began */
  was: Record<string, string>;
  sent: boolean;
}

type Input = HTMLInputElement | HTMLTextAreaElement | HTMLSelectElement;

const prefix = "trivet-draft:";

export function keepDrafts(root: ParentNode): void {
  for (const form of root.querySelectorAll<HTMLFormElement>("form[data-keep]")) keep(form);
}

function inputs(form: HTMLFormElement): Input[] {
  return [...form.elements].filter(
    (e): e is Input =>
      (e instanceof HTMLInputElement && !["hidden", "file", "submit", "checkbox", "radio"].includes(e.type)) ||
      e instanceof HTMLTextAreaElement ||
      e instanceof HTMLSelectElement,
  );
}

function read(key: string): Draft | null {
  try {
    return JSON.parse(localStorage.getItem(key) ?? "null") as Draft | null;
  } catch {
    return null;
  }
}

function keep(form: HTMLFormElement): void {
  const key = prefix + form.dataset.keep;
  const fields = inputs(form);
  const saved = Object.fromEntries(fields.map((f) => [f.name, f.value]));
  const draft = read(key);
  const refused = form.querySelector("[role=alert]") !== null;
  if (draft?.sent && !refused) {
    localStorage.removeItem(key);
  } else if (draft && !refused && fields.every((f) => draft.was[f.name] === saved[f.name])) {
    let any = false;
    for (const f of fields) {
      const typed = draft.typed[f.name];
      if (typed !== undefined && typed !== f.value) {
        f.value = typed;
        any = true;
      }
    }
    const fold = form.closest("details");
    if (any && fold) fold.open = true;
  }
  form.addEventListener("input", () => store(key, fields, saved, false));
  form.addEventListener("submit", () => store(key, fields, saved, true));
}

function store(key: string, fields: Input[], was: Record<string, string>, sent: boolean): void {
  const typed = Object.fromEntries(fields.map((f) => [f.name, f.value]));
  try {
    localStorage.setItem(key, JSON.stringify({ typed, was, sent } satisfies Draft));
  } catch {
    // Storage is full or forbidden: the form still works.
  }
}
