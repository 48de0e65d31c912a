// Long lists are turned and searched in place; without scripts the same
// links and forms load the page anew.
import { Follower } from "./live";

export function followLists(root: ParentNode): void {
  for (const box of root.querySelectorAll<HTMLElement>("[data-list]")) {
    const name = box.dataset.list ?? "";
    const from = box.dataset.from ?? location.pathname;
    const follower = new Follower(box, 120);
    const ask = (query: string): void => {
      const typing = document.activeElement instanceof HTMLInputElement && box.contains(document.activeElement) ? document.activeElement : null;
      const caret = typing?.selectionStart ?? null;
      follower.ask(
        () => new Request(`${from}?${query}`, { headers: { "X-Part": name } }),
        undefined,
        () => {
          // The list came with a new search field: the caret goes on in it.
          const field = typing && box.querySelector<HTMLInputElement>("input[type=search]");
          if (!field) return;
          if (typing.value !== field.value) field.value = typing.value;
          field.focus();
          if (caret !== null) field.setSelectionRange(typing.selectionStart ?? caret, typing.selectionEnd ?? caret);
        },
      );
    };
    const typed = (): string => {
      const field = box.querySelector<HTMLInputElement>("input[type=search]");
      return String(new URLSearchParams({ [name]: field?.value ?? "" }));
    };
    box.addEventListener("input", () => ask(typed()));
    box.addEventListener("submit", (e) => {
      e.preventDefault();
      ask(typed());
    });
    box.addEventListener("click", (e) => {
      const link = (e.target as Element).closest<HTMLAnchorElement>("a[data-turn]");
      if (!link || e.ctrlKey || e.metaKey || e.shiftKey) return;
      e.preventDefault();
      ask(new URL(link.href).search.slice(1));
    });
  }
}
