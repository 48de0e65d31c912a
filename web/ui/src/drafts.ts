// What was typed into a form and not saved yet is kept in the browser, so
// that a reload, a lost server or a closed lid loses none of it.

interface Draft {
  /** values by field name */
  typed: Record<string, string>;
  /** what the fields held when typing began */
  was: Record<string, string>;
  sent: boolean;
}

// The value of radio buttons is that of the one chosen.
const valueOf = (fields: Input[], name: string): string => {
  const these = fields.filter((f) => f.name === name);
  if (these[0] instanceof HTMLInputElement && these[0].type === "radio") return these.find((f) => (f as HTMLInputElement).checked)?.value ?? "";
  return these.at(-1)?.value ?? "";
};
const valuesOf = (fields: Input[]): Record<string, string> => Object.fromEntries(fields.map((f) => [f.name, valueOf(fields, f.name)]));

type Input = HTMLInputElement | HTMLTextAreaElement | HTMLSelectElement;

const prefix = "trivet-draft:";

export function keepDrafts(root: ParentNode): void {
  for (const form of root.querySelectorAll<HTMLFormElement>("form[data-keep]")) keep(form);
}

function inputs(form: HTMLFormElement): Input[] {
  return [...form.elements].filter(
    (e): e is Input =>
      (e instanceof HTMLInputElement && !["hidden", "file", "submit", "checkbox"].includes(e.type)) ||
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
  const saved = valuesOf(fields);
  const draft = read(key);
  const refused = form.querySelector("[role=alert]") !== null;
  if (draft?.sent && !refused) {
    localStorage.removeItem(key);
  } else if (draft && !refused && fields.every((f) => draft.was[f.name] === saved[f.name])) {
    let any = false;
    for (const f of fields) {
      const typed = draft.typed[f.name];
      if (typed === undefined || typed === valueOf(fields, f.name)) continue;
      if (!(f instanceof HTMLInputElement) || f.type !== "radio") f.value = typed;
      else if (f.value === typed) f.checked = true;
      else continue;
      any = true;
    }
    const fold = form.closest("details");
    if (any && fold) fold.open = true;
  }
  form.addEventListener("input", () => store(key, fields, saved, false));
  form.addEventListener("submit", () => store(key, fields, saved, true));
}

function store(key: string, fields: Input[], was: Record<string, string>, sent: boolean): void {
  const typed = valuesOf(fields);
  try {
    localStorage.setItem(key, JSON.stringify({ typed, was, sent } satisfies Draft));
  } catch {
    // Storage is full or forbidden: the form still works.
  }
}
