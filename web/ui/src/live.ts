// Parts of a page that follow what is typed. The server sets every part; the
// script only asks for it again and puts it in place, so that a page without
// scripts shows the same.

/** asks again for a part, the latest question winning. */
export class Follower {
  private running: AbortController | null = null;
  private timer = 0;

  constructor(private readonly into: HTMLElement, private readonly waitMS: number) {}

  ask(request: () => Request, pick?: (part: HTMLElement) => HTMLElement | null, then?: () => void): void {
    window.clearTimeout(this.timer);
    this.timer = window.setTimeout(() => void this.now(request(), pick, then), this.waitMS);
  }

  private async now(request: Request, pick?: (part: HTMLElement) => HTMLElement | null, then?: () => void): Promise<void> {
    this.running?.abort();
    const mine = (this.running = new AbortController());
    this.into.classList.add("stale");
    try {
      const answer = await fetch(request, { signal: mine.signal });
      const text = await answer.text();
      if (mine.signal.aborted) return;
      const box = document.createElement("div");
      box.append(...parse(text));
      const part = pick ? pick(box) : box;
      if (part) put(this.into, part);
      then?.();
      this.into.classList.remove("stale");
    } catch {
      // A newer question is on its way, or the server is gone: what is shown
      // stays, greyed.
    }
  }
}

function parse(html: string): Node[] {
  return [...new DOMParser().parseFromString(html, "text/html").body.childNodes];
}

/** put replaces the content and keeps what the reader had unfolded. */
function put(into: HTMLElement, part: HTMLElement): void {
  const open = [...into.querySelectorAll("details")].map((d) => d.open);
  into.replaceChildren(...part.childNodes);
  [...into.querySelectorAll("details")].forEach((d, i) => (d.open = open[i] ?? d.open));
}
