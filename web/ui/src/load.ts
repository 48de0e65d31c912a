// Dropping logs on a page, with progress. The files stay chosen until the
// server has said that it keeps them.
import { keepDrafts } from "./drafts";

function start(form: HTMLFormElement): void {
  const input = form.querySelector<HTMLInputElement>("input[type=file]")!;
  const bar = form.querySelector("progress")!;
  const problem = form.querySelector<HTMLElement>("[data-problem]")!;
  const send = (files: FileList | File[]): void => {
    if (files.length === 0) return;
    const body = new FormData();
    for (const f of files) body.append("logs", f, f.name);
    const request = new XMLHttpRequest(); // fetch tells no progress of an upload
    const failed = (text: string): void => {
      bar.hidden = true;
      problem.textContent = text;
      problem.hidden = false;
    };
    if ([...files].reduce((sum, f) => sum + f.size, 0) > Number(form.dataset.most)) {
      failed(form.dataset.large ?? "");
      return;
    }
    problem.hidden = true;
    bar.hidden = false;
    bar.value = 0;
    request.upload.addEventListener("progress", (e) => {
      if (e.lengthComputable) bar.value = e.loaded / e.total;
    });
    request.addEventListener("load", () => {
      if (request.status < 300) {
        location.assign(location.pathname);
        return;
      }
      try {
        const { error } = JSON.parse(request.responseText) as { error: { message: string; fix: string } };
        failed(`${error.message}: ${error.fix}.`);
      } catch {
        failed(form.dataset.failed ?? "");
      }
    });
    request.addEventListener("error", () => failed(form.dataset.failed ?? ""));
    request.open("POST", location.pathname);
    request.setRequestHeader("Accept", "application/json");
    request.send(body);
  };
  form.addEventListener("submit", (e) => {
    e.preventDefault();
    send(input.files ?? []);
  });
  input.addEventListener("change", () => send(input.files ?? []));
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
    send(e.dataTransfer?.files ?? []);
  });
}

const form = document.querySelector<HTMLFormElement>("form[data-drop]");
if (form) start(form);
keepDrafts(document);
