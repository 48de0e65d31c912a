// Zoom and pan of a plot, by buttons, keys, wheel and touch. Dragging with a
// mouse selects a stretch, which the plot itself sees to.
import type uPlot from "uplot";

export class Zoom {
  private frame = 0;
  private next: [number, number] | null = null;

  constructor(private readonly plot: uPlot, private readonly whole: [number, number], private readonly least = 4, private readonly reset = (): void => {}) {
    this.wheel();
    this.touch();
  }

  /** range is what is shown, or will be in the next frame. */
  range(): [number, number] {
    const { min, max } = this.plot.scales.x!;
    return this.next ?? [min ?? this.whole[0], max ?? this.whole[1]];
  }

  /** by zooms about a time, the middle unless one is given, and moves on by a share of the width. */
  by(factor: number, shift = 0, about?: number): void {
    const [a, b] = this.range();
    const at = about ?? (a + b) / 2;
    const width = Math.max(this.least, (b - a) * factor);
    const low = at - ((at - a) / (b - a)) * width + shift * (b - a);
    this.to(low, low + width);
  }

  /** to shows a stretch, moved into what there is. */
  to(low: number, high: number): void {
    const [first, last] = this.whole;
    const width = high - low;
    if (width >= last - first) [low, high] = this.whole;
    else if (low < first) [low, high] = [first, first + width];
    else if (high > last) [low, high] = [last - width, last];
    this.next = [low, high];
    // However many events come in, a frame draws once.
    this.frame ||= requestAnimationFrame(() => this.now());
  }

  /** now shows in this turn what the next frame was to show. */
  now(): void {
    cancelAnimationFrame(this.frame);
    this.frame = 0;
    if (!this.next) return;
    const [min, max] = this.next;
    this.next = null;
    this.plot.setScale("x", { min, max });
  }

  all(): void {
    this.reset();
    this.to(...this.whole);
  }

  /** do does what a button or a key is for; false if it is for nothing here. */
  do(what: string): boolean {
    switch (what) {
      case "in": case "+": case "=": this.by(0.5); return true;
      case "out": case "-": this.by(2); return true;
      case "left": this.by(1, -0.25); return true;
      case "right": this.by(1, 0.25); return true;
      case "all": case "0": this.all(); return true;
    }
    return false;
  }

  private timeAt(clientX: number): number {
    const box = this.plot.over.getBoundingClientRect();
    const [a, b] = this.range();
    return a + ((clientX - box.left) / box.width) * (b - a);
  }

  private wheel(): void {
    this.plot.over.addEventListener("wheel", (e) => {
      if (e.ctrlKey || e.shiftKey) {
        e.preventDefault();
        this.by(1.0015 ** Math.max(-300, Math.min(300, e.deltaY || e.deltaX)), 0, this.timeAt(e.clientX));
      } else if (Math.abs(e.deltaX) > Math.abs(e.deltaY)) { // plain scrolling belongs to the page
        e.preventDefault();
        this.by(1, e.deltaX / this.plot.over.clientWidth);
      }
    }, { passive: false });
  }

  /** touch: one finger takes the plot along, two zoom it. */
  private touch(): void {
    const over = this.plot.over;
    const fingers = new Map<number, number>(); // where each is, across
    let held: { from: [number, number]; times: number[]; x: number[]; moved: boolean } | null = null;
    const hold = (): void => {
      const x = [...fingers.values()];
      held = x.length === 0 ? null : { from: this.range(), times: x.map((v) => this.timeAt(v)), x, moved: false };
    };
    over.addEventListener("pointerdown", (e) => {
      if (e.pointerType !== "touch" || fingers.size === 2) return;
      fingers.set(e.pointerId, e.clientX);
      hold();
    });
    over.addEventListener("pointermove", (e) => {
      if (!fingers.has(e.pointerId) || !held) return;
      fingers.set(e.pointerId, e.clientX);
      const x = [...fingers.values()];
      if (!held.moved && x.every((v, i) => Math.abs(v - held!.x[i]!) < 6)) return;
      held.moved = true;
      const box = over.getBoundingClientRect();
      const [a, b] = held.from;
      let width = b - a;
      if (x.length === 2) {
        const apart = Math.max(20, Math.abs(x[1]! - x[0]!));
        width = Math.max(this.least, (Math.abs(held.times[1]! - held.times[0]!) / apart) * box.width);
      }
      const middle = x.reduce((s, v) => s + v, 0) / x.length;
      const at = held.times.reduce((s, v) => s + v, 0) / x.length;
      const low = at - ((middle - box.left) / box.width) * width;
      this.to(low, low + width);
    });
    const up = (e: PointerEvent): void => {
      if (!fingers.has(e.pointerId)) return;
      if (e.type === "pointerup" && held && !held.moved && fingers.size === 1) {
        const box = over.getBoundingClientRect();
        this.plot.setCursor({ left: e.clientX - box.left, top: e.clientY - box.top });
      }
      fingers.delete(e.pointerId);
      hold();
    };
    over.addEventListener("pointerup", up);
    over.addEventListener("pointercancel", up);
  }
}
