// Logs on their way in. Each file is sent by itself, with its own progress and
// that of all; files that could not be sent stay chosen, and go on by
// themselves when a lost server is back. What waits at the server is read and
// loaded with progress too, and the page takes in the answer.
import { keepDrafts } from "./drafts";
import { sent, signIn } from "./signin";

type Words = Record<"waits" | "sending" | "kept" | "of" | "failed" | "lost" | "again" | "drop" | "large", string>;

interface Refused {
  error: { message: string; fix: string };
}

/** Lost says that the server does not answer. */
class Lost extends Error {}

class Sending {
  private readonly bar: HTMLProgressElement;
  private readonly said: HTMLElement;
  readonly row = document.createElement("li");

  constructor(readonly file: File, private readonly words: Words, again: (s: Sending) => void, drop: (s: Sending) => void) {
    const name = document.createElement("span");
    name.className = "what";
    name.textContent = file.name;
    this.bar = document.createElement("progress");
    this.bar.max = 1;
    this.bar.value = 0;
    this.bar.setAttribute("aria-label", file.name);
    this.said = document.createElement("span");
    this.said.className = "small";
    this.row.append(name, this.bar, this.said);
    this.become("waits");
    this.act("again", words.again, () => again(this));
    this.act("drop", words.drop, () => drop(this));
  }

  state: "waits" | "sending" | "kept" | "refused" = "waits";
  private loaded = 0;

  get bytes(): number {
    return this.loaded;
  }

  private act(name: string, text: string, then: () => void): void {
    const b = document.createElement("button");
    b.type = "button";
    b.className = "quiet";
    b.dataset.act = name;
    b.textContent = text;
    b.setAttribute("aria-label", `${text}: ${this.file.name}`);
    b.hidden = true;
    b.addEventListener("click", then);
    this.row.append(b);
  }

  private say(text: string): void {
    this.said.textContent = text;
  }

  /** become shows a state; of a file refused for good there is no trying again. */
  become(state: Sending["state"], why?: string, forGood = false): void {
    this.state = state;
    this.row.dataset.state = state;
    this.loaded = state === "kept" ? this.file.size : 0;
    this.bar.value = state === "kept" ? 1 : 0;
    this.say(state === "refused" ? "" : this.words[state]);
    for (const b of this.row.querySelectorAll<HTMLButtonElement>("[data-act]")) b.hidden = state !== "refused" || (forGood && b.dataset.act === "again");
    this.row.querySelector(".problem")?.remove();
    if (!why) return;
    const p = document.createElement("p");
    p.className = "problem";
    p.setAttribute("role", "alert");
    p.textContent = why;
    this.said.after(p);
  }

  moved(loaded: number, total: number): void {
    this.bar.value = loaded / total;
    this.loaded = (this.file.size * loaded) / total;
  }
}

class Queue {
  private readonly all: Sending[] = [];
  private readonly words: Words;
  private readonly box: HTMLElement;
  private readonly sum: HTMLElement;
  private readonly bar: HTMLProgressElement;
  private readonly problem: HTMLElement;
  private running = false;

  constructor(private readonly form: HTMLFormElement) {
    this.words = JSON.parse(form.dataset.words ?? "{}") as Words;
    this.box = form.querySelector<HTMLElement>("[data-queue]")!;
    this.sum = form.querySelector<HTMLElement>("[data-sum]")!;
    this.bar = this.box.querySelector("progress")!;
    this.problem = form.querySelector<HTMLElement>("[data-problem]")!;
    const input = form.querySelector<HTMLInputElement>("input[type=file]")!;
    const take = (): void => {
      this.add([...(input.files ?? [])]);
      input.value = "";
    };
    form.addEventListener("submit", (e) => {
      e.preventDefault();
      take();
      void this.run();
    });
    input.addEventListener("change", take);
    for (const kind of ["dragenter", "dragover"]) {
      document.addEventListener(kind, (e) => {
        e.preventDefault();
        form.classList.add("over-it");
      });
    }
    document.addEventListener("dragleave", (e) => {
      if (!e.relatedTarget) form.classList.remove("over-it");
    });
    document.addEventListener("drop", (e) => {
      e.preventDefault();
      form.classList.remove("over-it");
      this.add([...(e.dataTransfer?.files ?? [])]);
    });
    addEventListener("beforeunload", (e) => {
      if (this.open().length > 0) e.preventDefault(); // the browser asks whether to leave
    });
  }

  private open(): Sending[] {
    return this.all.filter((s) => s.state !== "kept");
  }

  private add(files: File[]): void {
    for (const f of files) {
      const s = new Sending(f, this.words, (again) => {
        again.become("waits");
        void this.run();
      }, (drop) => {
        this.all.splice(this.all.indexOf(drop), 1);
        drop.row.remove();
        this.tell();
      });
      this.all.push(s);
      this.box.querySelector("ul")!.append(s.row);
      if (f.size > Number(this.form.dataset.most)) s.become("refused", this.words.large, true);
    }
    this.tell();
    void this.run();
  }

  private tell(): void {
    const kept = this.all.filter((s) => s.state === "kept").length;
    this.sum.textContent = this.words.of.replace("{n}", String(kept)).replace("{of}", String(this.all.length));
    const of = this.all.reduce((sum, s) => sum + s.file.size, 0);
    this.bar.value = of > 0 ? this.all.reduce((sum, s) => sum + s.bytes, 0) / of : Number(kept > 0);
    this.box.hidden = this.all.length === 0;
  }

  /** run sends what waits, one by one; a lost server stops it until it is back. */
  private async run(): Promise<void> {
    if (this.running) return;
    this.running = true;
    let kept = 0;
    for (let next; (next = this.all.find((s) => s.state === "waits")); ) {
      next.become("sending");
      try {
        await this.post(next);
        next.become("kept");
        kept++;
        this.problem.hidden = true;
      } catch (e) {
        if (e instanceof Lost) {
          next.become("waits");
          this.problem.textContent = this.words.lost;
          this.problem.hidden = false;
          if (kept > 0) await takeIn(await page(), false);
          kept = 0;
          await back();
        } else {
          next.become("refused", (e as Error).message);
        }
      }
      this.tell();
    }
    this.running = false;
    if (kept > 0) await takeIn(await page(), false);
    if (this.open().length > 0) return;
    this.all.length = 0;
    this.box.querySelector("ul")!.replaceChildren();
    this.tell();
  }

  private post(s: Sending): Promise<void> {
    return new Promise((done, failed) => {
      const request = new XMLHttpRequest(); // fetch tells no progress of an upload
      request.upload.addEventListener("progress", (e) => {
        if (!e.lengthComputable) return;
        s.moved(e.loaded, e.total);
        this.tell();
      });
      request.addEventListener("load", () => {
        if (request.status < 300) return done();
        if (request.status === 401) {
          void signIn(request.responseText).then((ok) => (ok ? this.post(s).then(done, failed) : failed(new Error(message(request.responseText) ?? this.words.failed))));
          return;
        }
        failed(new Error(message(request.responseText) ?? this.words.failed));
      });
      for (const kind of ["error", "abort", "timeout"]) request.addEventListener(kind, () => failed(new Lost()));
      const body = new FormData();
      body.append("logs", s.file, s.file.name);
      request.open("POST", location.pathname);
      request.setRequestHeader("Accept", "application/json");
      request.send(body);
    });
  }
}

function message(answer: string): string | null {
  try {
    const { error } = JSON.parse(answer) as Refused;
    return `${error.message}: ${error.fix}.`;
  } catch {
    return null;
  }
}

const pause = (ms: number): Promise<void> => new Promise((then) => setTimeout(then, ms));

/** back waits until the server answers again. */
async function back(): Promise<void> {
  for (;;) {
    await pause(1500);
    try {
      if ((await fetch("/alive", { cache: "no-store", signal: AbortSignal.timeout(4000) })).status === 204) return;
    } catch {
      // still gone
    }
  }
}

async function page(): Promise<Document | null> {
  try {
    return new DOMParser().parseFromString(await (await fetch(location.pathname)).text(), "text/html");
  } catch {
    return null;
  }
}

/** takeIn puts what the server says in place; what is being sent and typed
 * stays. */
function takeIn(fresh: Document | null, said: boolean): boolean {
  const waiting = fresh?.getElementById("waiting");
  if (!fresh || !waiting) return false;
  document.getElementById("waiting")!.replaceWith(document.importNode(waiting, true));
  wire();
  if (!said) return true;
  const box = document.getElementById("said")!;
  box.replaceWith(document.importNode(fresh.getElementById("said")!, true));
  const wrong = document.querySelector<HTMLElement>("#waiting [role=alert]");
  (wrong ?? document.getElementById("said")!).scrollIntoView({ block: "nearest" });
  if (wrong) wrong.tabIndex = -1;
  (wrong ?? document.getElementById("said")!).focus({ preventScroll: true });
  return true;
}

interface Progress {
  logs: { sha256: string; share: number; done: boolean }[];
  share: number;
}

/** show moves the bars of the logs that are being read. */
function show(form: HTMLFormElement, p: Progress): void {
  const set = (bar: HTMLElement | null | undefined, share: number): void => {
    if (!bar) return;
    bar.hidden = false;
    bar.querySelector("progress")!.value = share;
  };
  for (const l of p.logs) set(document.querySelector<HTMLElement>(`[data-log="${CSS.escape(l.sha256)}"] [data-bar]`), l.share);
  if (form.dataset.all !== undefined) set(form.querySelector<HTMLElement>("[data-bar]"), p.share);
}

async function load(form: HTMLFormElement, by: HTMLElement | null): Promise<void> {
  const body = new URLSearchParams();
  for (const [name, value] of new FormData(form, by)) if (typeof value === "string") body.append(name, value);
  const buttons = [...document.querySelectorAll<HTMLButtonElement>("#waiting button")];
  for (const b of buttons) b.disabled = true;
  let going = true;
  const watch = async (): Promise<void> => {
    const from = document.getElementById("waiting")!.dataset.progress ?? "";
    while (going) {
      await pause(250);
      try {
        const answer = await fetch(from, { headers: { Accept: "application/json" }, cache: "no-store" });
        if (going && answer.ok) show(form, (await answer.json()) as Progress);
      } catch {
        return; // what the request itself comes to is told below
      }
    }
  };
  void watch();
  try {
    const answer = await sent(form.action, { method: "POST", body });
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    going = false;
    if (takeIn(fresh, true)) return;
    throw new Error(fresh.querySelector("[role=alert]")?.textContent ?? "");
  } catch (e) {
    going = false;
    for (const b of buttons) b.disabled = false;
    form.querySelector(".lost")?.remove();
    const p = document.createElement("p");
    p.className = "problem lost";
    p.setAttribute("role", "alert");
    p.textContent = (!(e instanceof TypeError) && (e as Error).message) || document.getElementById("kitchen")!.dataset.unsent || "";
    form.prepend(p);
    for (const bar of document.querySelectorAll<HTMLElement>("#waiting [data-bar]")) bar.hidden = true;
  }
}

function wire(): void {
  const waiting = document.getElementById("waiting")!;
  keepDrafts(waiting);
  for (const form of waiting.querySelectorAll<HTMLFormElement>("form")) {
    form.addEventListener("submit", (e) => {
      e.preventDefault();
      void load(form, e.submitter);
    });
  }
}

const form = document.querySelector<HTMLFormElement>("form[data-drop]");
if (form) {
  new Queue(form);
  wire();
}
