// Photos dropped on a cook's page, chosen or taken: sent one by one with
// progress. What is typed stands until the server has kept the photo.

import { signIn } from "./signin";

type Words = Record<"sending" | "failed" | "waiting", string>;

interface Refused {
  error: { message: string; value: string; fix: string };
}

class PhotoForm {
  private readonly queue: File[] = [];
  private readonly bar: HTMLProgressElement;
  private readonly problem: HTMLElement;
  private readonly said: HTMLElement;
  private readonly words: Words;
  private sending = false;

  constructor(private readonly form: HTMLFormElement) {
    this.bar = form.querySelector("progress")!;
    this.problem = form.querySelector<HTMLElement>("[data-problem]")!;
    this.said = form.querySelector<HTMLElement>("[data-queue]")!;
    this.words = JSON.parse(form.dataset.words ?? "{}") as Words;
    form.addEventListener("submit", (e) => {
      e.preventDefault();
      for (const input of this.inputs()) this.queue.push(...(input.files ?? []));
      for (const input of this.inputs()) input.value = "";
      void this.send();
    });
    const section = form.closest<HTMLElement>("[data-photos]")!;
    for (const kind of ["dragenter", "dragover"]) {
      section.addEventListener(kind, (e) => {
        e.preventDefault();
        form.closest("details")!.open = true;
        form.classList.add("over-it");
      });
    }
    section.addEventListener("dragleave", () => form.classList.remove("over-it"));
    section.addEventListener("drop", (e) => {
      e.preventDefault();
      form.classList.remove("over-it");
      this.queue.push(...(e.dataTransfer?.files ?? []));
      void this.send();
    });
  }

  private inputs(): HTMLInputElement[] {
    return [...this.form.querySelectorAll<HTMLInputElement>("input[type=file]")];
  }

  /** send takes the queue one by one; at a refusal it stops with the rest waiting. */
  private async send(): Promise<void> {
    if (this.sending) return;
    this.sending = true;
    this.problem.hidden = true;
    do {
      const next = this.queue[0];
      this.tell(this.queue.length > 1 ? this.words.waiting.replace("%d", String(this.queue.length - 1)) : "");
      const body = new FormData();
      for (const name of ["alt", "caption", "taken"]) body.append(name, this.field(name).value);
      if (next) body.append("photo", next, next.name);
      try {
        this.tell(await this.post(body));
      } catch (e) {
        this.refuse((e as Error).message, next);
        this.queue.shift();
        break;
      }
      this.queue.shift();
      for (const name of ["alt", "caption", "taken"]) this.field(name).value = "";
      await this.refresh();
    } while (this.queue.length > 0);
    this.bar.hidden = true;
    this.sending = false;
  }

  private field(name: string): HTMLInputElement {
    return this.form.elements.namedItem(name) as HTMLInputElement;
  }

  private tell(text: string): void {
    this.said.textContent = text;
  }

  private refuse(text: string, file?: File): void {
    const p = document.createElement("p");
    p.textContent = file ? `${file.name}: ${text}` : text;
    this.problem.replaceChildren(p);
    this.problem.hidden = false;
  }

  private post(body: FormData): Promise<string> {
    return new Promise((done, failed) => {
      const request = new XMLHttpRequest(); // fetch tells no progress of an upload
      this.bar.hidden = false;
      this.bar.value = 0;
      request.upload.addEventListener("progress", (e) => {
        if (e.lengthComputable) this.bar.value = e.loaded / e.total;
      });
      request.addEventListener("load", () => {
        try {
          const answer = JSON.parse(request.responseText) as { done?: string } & Partial<Refused>;
          if (request.status < 300) return done(answer.done ?? "");
          if (request.status === 401) {
            void signIn(request.responseText).then((ok) => (ok ? this.post(body).then(done, failed) : failed(new Error(`${answer.error!.message}. ${answer.error!.fix}.`))));
            return;
          }
          if (answer.error) return failed(new Error(`${answer.error.message}. ${answer.error.fix}.`));
        } catch {
          // not an answer of ours
        }
        failed(new Error(this.words.failed));
      });
      request.addEventListener("error", () => failed(new Error(this.words.failed)));
      request.open("POST", this.form.action);
      request.setRequestHeader("Accept", "application/json");
      request.send(body);
    });
  }

  /** refresh puts the photos as the server has them in place of the old. */
  private async refresh(): Promise<void> {
    try {
      const page = new DOMParser().parseFromString(await (await fetch(location.pathname)).text(), "text/html");
      const fresh = page.querySelector("[data-photo-list]");
      if (fresh) document.querySelector("[data-photo-list]")?.replaceWith(fresh);
    } catch {
      location.reload();
    }
  }
}

export function startPhotos(): void {
  for (const form of document.querySelectorAll<HTMLFormElement>("[data-photo-form]")) new PhotoForm(form);
}
