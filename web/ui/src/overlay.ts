// The traces of all cooks of a study in step at heat on. Medians and quartiles
// of each treatment are lines of the plot. The single lines, of which there
// may be hundreds, are drawn on a sheet of their own behind it; while somebody
// zooms or pans the sheet is stretched along, and drawn anew, finer where the
// server has more, as soon as they rest.
import uPlot from "uplot";
import "uplot/dist/uPlot.min.css";
import { clock, clockAxis, colour, keyOf } from "./plotkey";
import { Zoom } from "./zoom";

type Values = (number | null)[];

interface Data {
  channel: string;
  channels: string[];
  unit: string;
  finer: boolean;
  at_s: number[];
  groups: { name: string; cooks: number; lo: Values; mid: Values; hi: Values }[];
  lines: { cook: string; name?: string; group: number; values: Values }[];
}

type Words = Record<"at" | "axis" | "missing" | "median" | "middle" | "of" | "cook" | "coming" | "failed", string>;

interface Box { x0: number; x1: number; y0: number; y1: number }

/** A sheet is the single lines, drawn for a stretch. */
interface Sheet { canvas: HTMLCanvasElement; box: Box; data: Data }

// As the figures: treatments differ in dash and marker too.
const dashes = [[], [5, 3], [1.5, 2.5], [9, 3, 1.5, 3], [12, 4], [4, 2, 1.5, 2, 1.5, 2]];
const dashOf = (group: number, width: number): number[] => dashes[group % 6]!.map((d) => d * width);

/** markerOf is the path of a treatment's marker. */
function markerOf(group: number, x: number, y: number, r: number): string {
  switch (group % 6) {
    case 0: return `M${x - r} ${y}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0Z`;
    case 1: return `M${x - 0.88 * r} ${y - 0.88 * r}h${1.76 * r}v${1.76 * r}h${-1.76 * r}Z`;
    case 2: return `M${x} ${y - 1.2 * r}L${x + 1.2 * r} ${y + 0.96 * r}H${x - 1.2 * r}Z`;
    case 3: return `M${x} ${y - 1.25 * r}L${x + 1.25 * r} ${y}L${x} ${y + 1.25 * r}L${x - 1.25 * r} ${y}Z`;
    case 4: return `M${x - 1.1 * r} ${y}H${x + 1.1 * r}M${x} ${y - 1.1 * r}V${y + 1.1 * r}`;
  }
  return `M${x - 0.85 * r} ${y - 0.85 * r}L${x + 0.85 * r} ${y + 0.85 * r}M${x + 0.85 * r} ${y - 0.85 * r}L${x - 0.85 * r} ${y + 0.85 * r}`;
}

/** at is the first index of a time not before t. */
function at(times: number[], t: number): number {
  let lo = 0, hi = times.length;
  while (lo < hi) {
    const mid = (lo + hi) >> 1;
    if (times[mid]! < t) lo = mid + 1;
    else hi = mid;
  }
  return lo;
}

function nearest(times: number[], t: number): number {
  const i = Math.min(at(times, t), times.length - 1);
  return i > 0 && t - times[i - 1]! < times[i]! - t ? i - 1 : i;
}

class OverlayPlot {
  readonly plot: uPlot;
  private readonly zoom: Zoom;
  private readonly whole: Box;
  private data: Data; // drawn now: base, or a finer stretch
  private fine: Data | null = null;
  private sheet: Sheet | null = null;
  private wholeSheet: Sheet | null = null;
  private picked = -1; // of the lines
  private byKey = false;
  private readonly stop = new AbortController(); // ends what the page itself listens for
  private readonly stale: ResizeObserver;
  private readonly canvas: HTMLElement;
  private readonly readout: HTMLElement;
  private readonly note: HTMLElement;
  private readonly key: HTMLElement;

  constructor(private readonly root: HTMLElement, private readonly base: Data, private readonly words: Words) {
    this.data = base;
    this.canvas = root.querySelector<HTMLElement>(".canvas")!;
    this.readout = root.querySelector<HTMLElement>(".readout")!;
    this.note = root.querySelector<HTMLElement>("[data-state]")!;
    let low = Infinity, high = -Infinity;
    for (const l of base.lines) for (const v of l.values) if (v !== null) {
      if (v < low) low = v;
      if (v > high) high = v;
    }
    const room = Math.max(0.5, (high - low) * 0.04);
    this.whole = { x0: base.at_s[0]!, x1: base.at_s[base.at_s.length - 1]!, y0: low - room, y1: high + room };
    this.plot = new uPlot(this.options(), this.columns(base), this.canvas);
    this.zoom = new Zoom(this.plot, [this.whole.x0, this.whole.x1], 4, () => this.plot.setScale("y", { min: this.whole.y0, max: this.whole.y1 }));
    this.key = keyOf(base.groups.map((g, i) => ({
      name: `${g.name} (${words.of.replace("{n}", String(g.cooks))})`, stroke: this.stroke(i), dash: dashOf(i, 2.5), marker: markerOf(i, 20, 5, 3.5),
    })));
    this.canvas.before(this.key);
    this.keys();
    this.stale = new ResizeObserver(() => {
      if (this.plot.width === this.canvas.clientWidth) return;
      this.plot.setSize({ width: this.canvas.clientWidth, height: this.height() });
    });
    this.stale.observe(this.canvas);
    this.settle(0);
  }

  close(): void {
    this.stop.abort();
    this.stale.disconnect();
    clearTimeout(this.resting);
    this.drawing++;
    this.asking?.abort();
    this.key.remove();
    this.plot.destroy();
  }

  do(what: string): void {
    this.zoom.do(what);
  }

  private stroke(group: number): string {
    return colour(this.root, `s${(group % 6) + 1}`);
  }

  private height(): number {
    return Math.max(280, Math.min(460, Math.round(innerHeight * 0.55)));
  }

  private columns(d: Data): uPlot.AlignedData {
    return [d.at_s, ...d.groups.flatMap((g) => [g.lo, g.mid, g.hi])] as uPlot.AlignedData;
  }

  private options(): uPlot.Options {
    const ink = colour(this.root, "ink");
    const grid = { stroke: colour(this.root, "grid"), width: 1 };
    const font = "13px Go, 'Segoe UI', sans-serif";
    const { x0, x1, y0, y1 } = this.whole;
    return {
      width: this.canvas.clientWidth,
      height: this.height(),
      legend: { show: false },
      scales: { x: { time: false, min: x0, max: x1 }, y: { auto: false, min: y0, max: y1, range: (_u, min, max) => [min, max] } },
      cursor: { drag: { x: true, y: true, uni: 40 }, points: { show: false } },
      axes: [clockAxis(ink, grid, font, this.words.axis), { stroke: ink, grid, font, label: this.base.unit, labelFont: font, size: 56 }],
      series: [{}, ...this.base.groups.flatMap((g, i): uPlot.Series[] => {
        const edge: uPlot.Series = { stroke: "transparent", width: 0, points: { show: false } };
        // The median of one cook is its line.
        return [edge, { label: g.name, stroke: this.stroke(i), width: 2.6, dash: dashOf(i, 2.6), show: g.cooks > 1, points: { show: false } }, edge];
      })],
      bands: this.base.groups.map((_g, i): uPlot.Band => ({ series: [3 * i + 3, 3 * i + 1], fill: this.stroke(i) + "38" })),
      hooks: {
        drawAxes: [(u) => this.drawSheet(u)],
        draw: [(u) => this.drawOver(u)],
        setCursor: [(u) => this.read(u)],
        setScale: [() => this.settle(120)],
        setSize: [() => { this.sheet = this.wholeSheet = null; this.settle(0); }],
      },
    };
  }

  private view(): Box {
    const { x, y } = this.plot.scales;
    return { x0: x!.min!, x1: x!.max!, y0: y!.min!, y1: y!.max! };
  }

  // Single lines

  /** drawSheet puts what is drawn of the lines behind the plot, stretched to what is shown. */
  private drawSheet(u: uPlot): void {
    if (!this.plot) return;
    const v = this.view();
    const covers = (s: Sheet | null): boolean => s !== null && Math.min(v.x1, s.box.x1) - Math.max(v.x0, s.box.x0) > 0.6 * (v.x1 - v.x0) && s.box.x1 - s.box.x0 < 4 * (v.x1 - v.x0);
    const s = covers(this.sheet) ? this.sheet! : this.wholeSheet ?? this.sheet;
    if (!s) return;
    const { left, top, width, height } = u.bbox;
    const px = width / (v.x1 - v.x0), py = height / (v.y1 - v.y0);
    u.ctx.save();
    u.ctx.beginPath();
    u.ctx.rect(left, top, width, height);
    u.ctx.clip();
    u.ctx.drawImage(s.canvas, left + (s.box.x0 - v.x0) * px, top + (v.y1 - s.box.y1) * py, (s.box.x1 - s.box.x0) * px, (s.box.y1 - s.box.y0) * py);
    u.ctx.restore();
  }

  /** trace adds a line to a path, from first to last of its times. */
  private trace(c: CanvasRenderingContext2D, d: Data, values: Values, box: Box, left: number, top: number, width: number, height: number): void {
    const px = width / (box.x1 - box.x0), py = height / (box.y1 - box.y0);
    const last = Math.min(d.at_s.length, at(d.at_s, box.x1) + 1);
    let on = false;
    for (let i = Math.max(0, at(d.at_s, box.x0) - 1); i < last; i++) {
      const v = values[i];
      if (v === null || v === undefined) {
        on = false;
        continue;
      }
      const x = left + (d.at_s[i]! - box.x0) * px, y = top + (box.y1 - v) * py;
      if (on) c.lineTo(x, y);
      else c.moveTo(x, y);
      on = true;
    }
  }

  private drawing = 0; // the sheet that is being drawn

  /** drawLines draws the lines of what is shown, a few milliseconds in each frame. */
  private drawLines(): void {
    const turn = ++this.drawing;
    const { width, height } = this.plot.bbox;
    const sheet: Sheet = { canvas: document.createElement("canvas"), box: this.view(), data: this.data };
    sheet.canvas.width = Math.max(1, Math.round(width));
    sheet.canvas.height = Math.max(1, Math.round(height));
    const c = sheet.canvas.getContext("2d")!;
    const n = this.data.lines.length;
    const thick = n > 60 ? 1 : 1.4;
    c.globalAlpha = n > 150 ? 0.22 : n > 60 ? 0.32 : n > 12 ? 0.55 : 0.9;
    c.lineWidth = thick * devicePixelRatio;
    c.lineJoin = "bevel";
    const strokes = this.data.groups.map((_g, i) => this.stroke(i));
    // One of each treatment in turn, so that none is painted over by another.
    const order = new Map<number, number>();
    const lines = this.data.lines.map((line) => {
      const rank = order.get(line.group) ?? 0;
      order.set(line.group, rank + 1);
      return { line, rank };
    }).sort((a, b) => a.rank - b.rank || a.line.group - b.line.group);
    let i = 0;
    const some = (): void => {
      if (turn !== this.drawing) return;
      const until = performance.now() + 6;
      for (; i < lines.length && (i % 4 !== 0 || performance.now() < until); i++) {
        const { line } = lines[i]!;
        c.beginPath();
        c.strokeStyle = strokes[line.group]!;
        c.setLineDash(n > 24 ? [] : dashOf(line.group, c.lineWidth)); // dashes of many lines tell nothing
        this.trace(c, this.data, line.values, sheet.box, 0, 0, sheet.canvas.width, sheet.canvas.height);
        c.stroke();
      }
      if (i < lines.length) {
        requestAnimationFrame(some);
        return;
      }
      this.sheet = sheet;
      const { x0, x1, y0, y1 } = sheet.box;
      if (x0 <= this.whole.x0 && x1 >= this.whole.x1 && y0 <= this.whole.y0 && y1 >= this.whole.y1) this.wholeSheet = sheet;
      this.root.dataset.drawn = this.data === this.base ? "whole" : "finer";
      this.plot.redraw(false);
    };
    some();
  }

  /** drawOver draws markers on the medians and the cook that is picked out. */
  private drawOver(u: uPlot): void {
    if (!this.plot) return;
    const { left, top, width, height } = u.bbox;
    const v = this.view();
    const c = u.ctx;
    c.save();
    c.beginPath();
    c.rect(left, top, width, height);
    c.clip();
    const groups = this.data.groups;
    groups.forEach((g, i) => {
      c.fillStyle = c.strokeStyle = this.stroke(i);
      c.lineWidth = 2 * devicePixelRatio;
      for (let k = 0; k < 7; k++) {
        const share = (k + (i + 1) / (groups.length + 1)) / 7; // those of others stand between
        const j = at(this.data.at_s, v.x0 + share * (v.x1 - v.x0));
        const y = g.mid[j];
        if (y === null || y === undefined) continue;
        const path = new Path2D(markerOf(i, u.valToPos(this.data.at_s[j]!, "x", true), u.valToPos(y, "y", true), 4.5 * devicePixelRatio));
        if (i % 6 < 4) c.fill(path);
        else c.stroke(path);
      }
    });
    const one = this.data.lines[this.picked];
    if (one) {
      for (const [ink, thick] of [[colour(this.root, "paper"), 5], [colour(this.root, "ink"), 2.2]] as const) {
        c.beginPath();
        c.strokeStyle = ink;
        c.lineWidth = thick * devicePixelRatio;
        c.setLineDash([]);
        this.trace(c, this.data, one.values, v, left, top, width, height);
        c.stroke();
      }
    }
    c.restore();
  }

  // Rest: draw anew, and fetch what is finer

  private resting = 0;
  private asking: AbortController | null = null;

  private settle(after: number): void {
    this.drawing++;
    clearTimeout(this.resting);
    this.resting = window.setTimeout(() => this.rest(), after);
  }

  private rest(): void {
    const v = this.view();
    const fine = this.fine;
    const fits = fine !== null && fine.at_s.length > 1 && fine.at_s[0]! <= Math.max(v.x0, this.whole.x0) + 1e-6 && fine.at_s[fine.at_s.length - 1]! >= Math.min(v.x1, this.whole.x1) - 1e-6;
    this.use(fits ? fine : this.base);
    this.drawLines();
    const shown = this.data.at_s[this.data.at_s.length - 1]! - this.data.at_s[0]!;
    if (this.data.finer && v.x1 - v.x0 < 0.6 * shown) void this.ask(v);
  }

  private use(d: Data): void {
    if (d === this.data) return;
    this.data = d;
    const { x0, x1 } = this.view();
    this.plot.batch(() => {
      this.plot.setData(this.columns(d), false);
      this.plot.setScale("x", { min: x0, max: x1 }); // the same stretch of other data
    });
  }

  private async ask(v: Box): Promise<void> {
    this.asking?.abort();
    const mine = this.asking = new AbortController();
    const room = 0.15 * (v.x1 - v.x0);
    const q = new URLSearchParams({ channel: this.base.channel, from: String(v.x0 - room), to: String(v.x1 + room) });
    this.note.textContent = this.words.coming;
    try {
      const answer = await fetch(`${this.root.dataset.overlay}?${q}`, { headers: { Accept: "application/json" }, signal: mine.signal });
      const d = (await answer.json()) as Data;
      if (mine.signal.aborted || !answer.ok || d.lines.length !== this.base.lines.length && d.lines.length === 0) return;
      // A cook that has nothing in the stretch keeps its place, so that the
      // one picked out stays.
      const by = new Map(d.lines.map((l) => [`${l.cook} ${l.name ?? ""}`, l]));
      d.lines = this.base.lines.map((l) => by.get(`${l.cook} ${l.name ?? ""}`) ?? { ...l, values: [] });
      this.fine = d;
      this.rest();
    } catch {
      return; // what is drawn stays
    } finally {
      if (this.asking === mine) this.note.textContent = "";
    }
  }

  // Read-out

  private read(u: uPlot): void {
    if (!this.plot) return;
    const i = u.cursor.idx;
    if (i === null || i === undefined) return;
    const d = this.data;
    if (!this.byKey && u.cursor.top !== undefined && u.cursor.top >= 0) {
      const y = u.posToVal(u.cursor.top, "y");
      let best = -1, off = Infinity;
      d.lines.forEach((l, k) => {
        const v = l.values[i];
        if (v !== null && v !== undefined && Math.abs(v - y) < off) [best, off] = [k, Math.abs(v - y)];
      });
      this.pick(best);
    }
    const say = (v: number | null | undefined): string => (v === null || v === undefined ? this.words.missing : `${v.toFixed(1)} ${d.unit}`);
    const parts = d.groups.map((g) => {
      const middle = g.lo[i] !== null && g.lo[i] !== undefined ? `, ${this.words.middle} ${g.lo[i]!.toFixed(1)}–${say(g.hi[i])}` : "";
      return `${this.words.median.replace("{name}", g.name)} ${say(g.mid[i])}${middle}`;
    });
    const one = d.lines[this.picked];
    if (one) parts.unshift(`${one.cook}${one.name ? ` ${one.name}` : ""} (${d.groups[one.group]?.name ?? ""}) ${say(one.values[i])}`);
    this.readout.textContent = `${this.words.at} ${clock(d.at_s[i] ?? 0)}: ${parts.join("; ")}`;
  }

  private pick(k: number): void {
    if (k === this.picked) return;
    this.picked = k;
    const link = this.root.querySelector<HTMLAnchorElement>(".one a")!;
    const one = this.data.lines[k];
    link.hidden = !one;
    if (one) {
      link.href = `${this.root.dataset.cooks}${encodeURIComponent(one.cook)}`;
      link.textContent = `${this.words.cook} ${one.cook}`;
    }
    this.plot.redraw(false);
  }

  private cursorS: number | null = null;

  private step(by: number): void {
    const v = this.view();
    this.cursorS = Math.min(this.whole.x1, Math.max(this.whole.x0, (this.cursorS ?? (v.x0 + v.x1) / 2) + by));
    if (this.cursorS < v.x0 || this.cursorS > v.x1) {
      const half = (v.x1 - v.x0) / 2;
      this.zoom.to(this.cursorS - half, this.cursorS + half);
      this.zoom.now();
    }
    queueMicrotask(() => this.show()); // the plot takes its new scale at the end of this turn
  }

  /** show puts the cursor on the cook that is picked out. */
  private show(): void {
    this.byKey = true;
    const i = nearest(this.data.at_s, this.cursorS ?? 0);
    const v = this.data.lines[this.picked]?.values[i];
    const left = Math.min(Math.max(this.plot.valToPos(this.cursorS ?? 0, "x"), 0), this.plot.over.clientWidth - 1); // at the very edge there is no cursor
    this.plot.setCursor({ left, top: v === null || v === undefined ? this.plot.over.clientHeight / 2 : this.plot.valToPos(v, "y") });
  }

  /** next picks the cook that is next higher or lower at the cursor. */
  private next(up: boolean): void {
    const v = this.view();
    this.cursorS ??= (v.x0 + v.x1) / 2;
    const i = nearest(this.data.at_s, this.cursorS);
    const ranked = this.data.lines.map((l, k) => ({ k, v: l.values[i] })).filter((x): x is { k: number; v: number } => x.v !== null && x.v !== undefined).sort((a, b) => a.v - b.v || a.k - b.k);
    if (ranked.length === 0) return;
    const now = ranked.findIndex((x) => x.k === this.picked);
    const to = now < 0 ? (up ? 0 : ranked.length - 1) : Math.min(ranked.length - 1, Math.max(0, now + (up ? 1 : -1)));
    this.pick(ranked[to]!.k);
    this.show();
  }

  private keys(): void {
    this.canvas.addEventListener("keydown", (e) => {
      if (e.altKey || e.ctrlKey || e.metaKey) return;
      const v = this.view();
      const step = ((v.x1 - v.x0) / 200) * (e.shiftKey ? 10 : 1);
      const known: Record<string, () => void> = {
        ArrowLeft: () => this.step(-step),
        ArrowRight: () => this.step(step),
        ArrowUp: () => this.next(true),
        ArrowDown: () => this.next(false),
        Home: () => this.step(this.whole.x0 - this.whole.x1),
        End: () => this.step(this.whole.x1 - this.whole.x0),
      };
      const act = known[e.key];
      if (act) act();
      else if (!this.zoom.do(e.key)) return;
      e.preventDefault();
    }, { signal: this.stop.signal });
    // Pointers pick out the line they are near to, keys the one they were sent to.
    for (const kind of ["mousemove", "pointerdown"]) this.canvas.addEventListener(kind, () => (this.byKey = false), { capture: true, signal: this.stop.signal });
    this.plot.over.addEventListener("mousemove", () => (this.cursorS = this.plot.posToVal(this.plot.cursor.left ?? 0, "x")), { signal: this.stop.signal });
  }
}

/** start fetches the traces and draws them, again for each channel chosen. */
export async function start(root: HTMLElement): Promise<void> {
  const words = JSON.parse(root.dataset.words ?? "{}") as Words;
  const problem = root.querySelector<HTMLElement>("[data-problem]")!;
  const select = root.querySelector<HTMLSelectElement>("[data-channels]")!;
  let plot: OverlayPlot | null = null;
  let last: Data | null = null;
  let asked = 0;
  const draw = (d: Data): void => {
    plot?.close();
    plot = new OverlayPlot(root, d, words);
    last = d;
  };
  const show = async (channel: string): Promise<void> => {
    const mine = ++asked;
    try {
      const answer = await fetch(`${root.dataset.overlay}${channel ? `?${new URLSearchParams({ channel })}` : ""}`, { headers: { Accept: "application/json" } });
      if (!answer.ok) throw new Error(String(answer.status));
      const d = (await answer.json()) as Data;
      if (mine !== asked) return;
      problem.hidden = true;
      if (d.lines.length === 0 || d.at_s.length < 2) return; // nothing to draw
      root.hidden = false;
      if (select.options.length === 0) {
        select.append(...d.channels.map((c) => new Option(c, c, false, c === d.channel)));
        select.closest<HTMLElement>(".field")!.hidden = d.channels.length < 2;
      }
      select.value = d.channel;
      draw(d);
      performance.mark("traces-ready"); // for whoever measures how soon it answers
      root.dataset.ready = d.channel;
    } catch {
      if (mine !== asked) return;
      root.hidden = false;
      problem.hidden = false;
      problem.querySelector("span")!.textContent = words.failed;
    }
  };
  select.addEventListener("change", () => void show(select.value));
  for (const b of root.querySelectorAll<HTMLButtonElement>("[data-do]")) {
    b.addEventListener("click", () => (b.dataset.do === "again" ? void show(select.value) : plot?.do(b.dataset.do ?? "")));
  }
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => last && draw(last));
  await show("");
}
