// Who was signed out meanwhile, by time or by the lead, signs in on the spot:
// in a dialog over the page, so that what was typed, chosen and dragged stands
// where it stood. What was refused is then sent again.

/** sent sends a request, and again once the person has signed in. */
export async function sent(url: string, init: RequestInit): Promise<Response> {
  for (;;) {
    const answer = await fetch(url, init);
    if (answer.status !== 401 || !(await signIn(await answer.clone().text()))) return answer;
  }
}

let asking: Promise<boolean> | null = null; // one dialog, whoever asks

/** signIn asks to sign in, after an answer that refused for want of it; false
 * if the person puts it off. */
export function signIn(refusal: string): Promise<boolean> {
  return (asking ??= ask(refusal).finally(() => (asking = null)));
}

async function ask(refusal: string): Promise<boolean> {
  const words = document.getElementById("kitchen")!.dataset;
  const back = document.activeElement as HTMLElement | null;
  const dialog = document.createElement("dialog");
  dialog.className = "signin";
  dialog.setAttribute("aria-labelledby", "signin-h");
  const into = document.createElement("div");
  const foot = document.createElement("p");
  foot.className = "acts";
  const done = button(words.signinDone ?? "", "second"); // by a link, in another tab
  const later = button(words.signinLater ?? "", "quiet");
  foot.append(done, later);
  dialog.append(into, foot);
  document.body.append(dialog);
  await begin(into, refusal);
  dialog.showModal();
  into.querySelector<HTMLElement>("[autofocus]")?.focus();
  const signedIn = await new Promise<boolean>((end) => {
    done.addEventListener("click", () => end(true));
    later.addEventListener("click", () => end(false));
    dialog.addEventListener("cancel", () => end(false));
    into.addEventListener("submit", (e) => {
      e.preventDefault();
      void enter(e.target as HTMLFormElement, into).then((ok) => ok && end(true));
    });
  });
  dialog.close();
  dialog.remove();
  back?.focus({ preventScroll: true });
  return signedIn;
}

/** begin shows what the answer says, and the form to sign in with where there
 * is one. */
async function begin(into: HTMLElement, refusal: string): Promise<void> {
  try {
    const { error } = JSON.parse(refusal) as { error: { code: string; message: string; fix: string } };
    const login = error.code === "signed-out" ? await fetch("/login") : null;
    if (login && !login.redirected) fill(into, await login.text()); // else somebody signed in meanwhile
    const head = document.createElement(login ? "p" : "h2");
    head.textContent = `${error.message}.`;
    const fix = document.createElement("p");
    fix.textContent = `${error.fix.charAt(0).toUpperCase()}${error.fix.slice(1)}.`;
    const title = into.querySelector("#signin-h");
    if (title) return title.after(head, fix);
    head.id = "signin-h";
    into.prepend(head, fix);
  } catch {
    fill(into, refusal);
  }
}

function button(text: string, kind: string): HTMLButtonElement {
  const b = document.createElement("button");
  b.type = "button";
  b.className = kind;
  b.textContent = text;
  return b;
}

/** fill shows the words and the form of a page. */
function fill(into: HTMLElement, page: string): void {
  const main = new DOMParser().parseFromString(page, "text/html").querySelector("main");
  into.replaceChildren(...(main?.childNodes ?? []));
  const head = into.querySelector("h1");
  if (!head) return;
  const h = document.createElement("h2");
  h.id = "signin-h";
  h.textContent = head.textContent;
  head.replaceWith(h);
}

async function enter(form: HTMLFormElement, into: HTMLElement): Promise<boolean> {
  const typed = new FormData(form);
  const body = new URLSearchParams({ passphrase: String(typed.get("passphrase") ?? "") });
  try {
    const answer = await fetch("/login", { method: "POST", body, redirect: "manual" });
    if (answer.type === "opaqueredirect") return true; // it leads on to the desk
    fill(into, await answer.text());
    into.querySelector<HTMLElement>("[autofocus]")?.focus();
  } catch {
    // the server is gone; the passphrase can be sent again
  }
  return false;
}
