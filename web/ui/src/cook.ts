// The plot of a cook: zoom, pan, a cursor that is read out, and marks that can
// be dragged and put back.
import uPlot from "uplot";
import "uplot/dist/uPlot.min.css";
import { fillIn } from "./coming";
import { startPhotos } from "./photos";
import { clock, clockAxis, colour, keyOf } from "./plotkey";
import { sent } from "./signin";
import { Zoom } from "./zoom";

interface Mark {
  Fixed: boolean;
  ID: string;
  Kind: string;
  At: string;
  AtS: number;
}

interface Data {
  at_s: number[];
  unit: string;
  finer: boolean; // a stretch of it would show more
  channels: { name: string; place: string; values: (number | null)[] }[];
  predicted?: { at_s: number[]; values: number[] };
}

type Words = Record<"moved" | "undo" | "failed" | "at" | "predicted" | "missing" | "undone" | "axis", string>;

const dashes = [[], [8, 4], [2, 3], [10, 3, 2, 3], [5, 2], [1, 4]];

class CookPlot {
  private readonly plot: uPlot;
  private readonly zoom: Zoom;
  private readonly marks: Mark[];
  private readonly undoes: { mark: Mark; back: number }[] = [];
  private readonly whole: [number, number];
  private readonly names: string[];
  private readonly canvas: HTMLElement;
  private readonly readout: HTMLElement;

  constructor(private readonly root: HTMLElement, private readonly data: Data, private readonly words: Words) {
    this.marks = JSON.parse(root.dataset.marks || "[]") as Mark[] ?? [];
    this.canvas = root.querySelector<HTMLElement>(".canvas")!;
    this.readout = root.querySelector<HTMLElement>(".readout")!;
    const x = data.at_s;
    this.whole = [x[0] ?? 0, x[x.length - 1] ?? 1];
    this.names = data.channels.map((c) => c.name);
    if (data.predicted) this.names.push(words.predicted);
    this.shown = data;
    this.plot = new uPlot(this.options(), this.columns(data), this.canvas);
    this.zoom = new Zoom(this.plot, this.whole);
    this.drawKey();
    this.drawMarks();
    this.keys();
    this.buttons();
    new ResizeObserver(() => this.plot.setSize({ width: this.canvas.clientWidth, height: 360 })).observe(this.canvas);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => location.reload());
  }

  private options(): uPlot.Options {
    const ink = colour(this.root, "ink");
    const grid = { stroke: colour(this.root, "grid"), width: 1 };
    const font = "13px Go, 'Segoe UI', sans-serif";
    return {
      width: this.canvas.clientWidth,
      height: 360,
      legend: { show: false },
      scales: { x: { time: false } },
      cursor: { drag: { x: true, y: false }, points: { size: 7 } },
      axes: [
        clockAxis(ink, grid, font, this.words.axis),
        { stroke: ink, grid, font, label: this.data.unit, labelFont: font, size: 56 },
      ],
      series: [
        {},
        ...this.names.map((name, i): uPlot.Series => {
          const predicted = this.data.predicted !== undefined && i === this.names.length - 1;
          return {
            label: name,
            stroke: predicted ? ink : colour(this.root, `s${(i % 6) + 1}`),
            width: predicted ? 1.5 : 1.8,
            // After six the colours return with the next dash.
            dash: predicted ? [4, 4] : dashes[(i + Math.floor(i / 6)) % dashes.length],
            points: { show: false },
          };
        }),
      ],
      hooks: { setCursor: [(u) => this.read(u)], setScale: [() => this.scaled()], setSize: [() => this.placeMarks()] },
    };
  }

  /** key says which line is which, by colour and by dash. */
  private drawKey(): void {
    const key = keyOf(this.names.map((name, i) => {
      const line = this.plot.series[i + 1]!;
      return { name, stroke: String(typeof line.stroke === "function" ? line.stroke(this.plot, i + 1) : line.stroke), dash: line.dash ?? [] };
    }));
    const place = this.canvas.previousElementSibling; // kept by the page
    if (place?.classList.contains("key")) place.replaceWith(key);
    else this.canvas.before(key);
  }

  private columns(d: Data): uPlot.AlignedData {
    // Channels that have nothing in a stretch keep their place.
    const by = new Map(d.channels.map((c) => [c.name, c.values]));
    const out = this.data.channels.map((c) => by.get(c.name) ?? d.at_s.map(() => null));
    if (this.data.predicted) out.push(onto(d.at_s, this.data.predicted.at_s, this.data.predicted.values));
    return [d.at_s, ...out] as uPlot.AlignedData;
  }

  // A long record comes thinned: of the stretch that somebody zooms into the
  // page asks for more, when they rest.

  private shown: Data;
  private resting = 0;
  private asking: AbortController | null = null;

  private scaled(): void {
    if (!this.plot) return;
    this.placeMarks();
    clearTimeout(this.resting);
    if (this.data.finer) this.resting = window.setTimeout(() => void this.refine(), 200);
  }

  private async refine(): Promise<void> {
    const { min, max } = this.plot.scales.x!;
    const a = min ?? this.whole[0], b = max ?? this.whole[1];
    const spans = (d: Data): boolean => d.at_s[0]! <= Math.max(a, this.whole[0]) + 1e-6 && d.at_s[d.at_s.length - 1]! >= Math.min(b, this.whole[1]) - 1e-6;
    if (!spans(this.shown)) this.use(this.data);
    const have = this.shown.at_s;
    if (!this.shown.finer || b - a > 0.6 * (have[have.length - 1]! - have[0]!)) return;
    this.asking?.abort();
    const mine = (this.asking = new AbortController());
    const room = 0.15 * (b - a);
    try {
      const q = new URLSearchParams({ from: String(a - room), to: String(b + room) });
      const answer = await fetch(`${this.root.dataset.plot}?${q}`, { headers: { Accept: "application/json" }, signal: mine.signal });
      const d = (await answer.json()) as Data;
      if (answer.ok && !mine.signal.aborted && d.at_s.length > 1) this.use(d);
    } catch {
      return; // what is drawn stays
    }
  }

  private use(d: Data): void {
    if (d === this.shown) return;
    this.shown = d;
    const { min, max } = this.plot.scales.x!;
    this.plot.batch(() => {
      this.plot.setData(this.columns(d), false);
      this.plot.setScale("x", { min: min!, max: max! }); // the same stretch of other data
    });
    this.root.dataset.drawn = d === this.data ? "whole" : "finer";
  }

  private read(u: uPlot): void {
    const i = u.cursor.idx;
    if (i === null || i === undefined) return;
    const parts = this.names.map((name, k) => {
      const v = u.data[k + 1]?.[i];
      return `${name} ${v === null || v === undefined ? this.words.missing : `${v.toFixed(1)} ${this.data.unit}`}`;
    });
    this.readout.textContent = `${this.words.at} ${clock(u.data[0][i] ?? 0)}: ${parts.join(", ")}`;
  }

  // Marks

  private readonly handles = new Map<string, HTMLButtonElement>();
  private readonly lines = new Map<string, HTMLElement>();

  private drawMarks(): void {
    for (const mark of this.marks) {
      const handle = document.createElement("button");
      handle.type = "button";
      handle.className = "mark";
      handle.textContent = mark.Kind;
      handle.disabled = mark.Fixed; // the zero of all other times
      if (!handle.disabled) {
        handle.setAttribute("role", "slider");
        handle.setAttribute("aria-label", mark.Kind);
        handle.setAttribute("aria-valuemin", String(Math.floor(this.whole[0])));
        handle.setAttribute("aria-valuemax", String(Math.ceil(this.whole[1])));
      }
      handle.addEventListener("pointerdown", (e) => this.drag(e, mark, handle));
      handle.addEventListener("keydown", (e) => this.nudge(e, mark));
      handle.addEventListener("blur", () => this.settle(mark));
      const line = document.createElement("i");
      line.className = "markline";
      this.plot.over.append(line, handle);
      this.lines.set(mark.ID, line);
      this.handles.set(mark.ID, handle);
    }
    this.placeMarks();
  }

  private placeMarks(): void {
    if (!this.plot) return;
    this.marks.forEach((mark, i) => {
      const handle = this.handles.get(mark.ID);
      if (!handle) return;
      const left = this.plot.valToPos(mark.AtS, "x");
      handle.hidden = left < 0 || left > this.plot.over.clientWidth + 1;
      handle.style.left = `${left}px`;
      if (!handle.disabled) {
        handle.setAttribute("aria-valuenow", String(Math.round(mark.AtS)));
        handle.setAttribute("aria-valuetext", clock(mark.AtS));
      }
      const line = this.lines.get(mark.ID)!;
      line.hidden = handle.hidden;
      line.style.left = `${left}px`;
      handle.style.setProperty("--lane", String(i % 3));
    });
  }

  private drag(down: PointerEvent, mark: Mark, handle: HTMLButtonElement): void {
    down.preventDefault();
    down.stopPropagation();
    const from = mark.AtS;
    const box = this.plot.over.getBoundingClientRect();
    handle.setPointerCapture(down.pointerId);
    const move = (e: PointerEvent): void => {
      mark.AtS = Math.round(this.plot.posToVal(e.clientX - box.left, "x"));
      this.placeMarks();
      this.readout.textContent = `${mark.Kind} ${clock(mark.AtS)}`;
    };
    const end = (): void => {
      handle.removeEventListener("pointermove", move);
      handle.removeEventListener("pointerup", end);
      handle.removeEventListener("pointercancel", end);
      if (mark.AtS !== from) void this.save(mark, from, true);
    };
    handle.addEventListener("pointermove", move);
    handle.addEventListener("pointerup", end);
    handle.addEventListener("pointercancel", end);
  }

  // A mark moved with the keyboard is saved when the keys have rested, or the
  // focus has gone on; Escape puts it back before that.

  private nudged: { mark: Mark; from: number; timer: number } | null = null;

  private nudge(e: KeyboardEvent, mark: Mark): void {
    const by: Record<string, number> = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -60, PageUp: 60 };
    const step = (by[e.key] ?? 0) * (e.shiftKey ? 10 : 1);
    if (e.key === "Enter" || e.key === " ") {
      e.preventDefault();
      this.settle(mark);
      return;
    }
    if (e.key === "Escape" && this.nudged?.mark === mark) {
      clearTimeout(this.nudged.timer);
      mark.AtS = this.nudged.from;
      this.nudged = null;
      this.placeMarks();
      this.readout.textContent = `${mark.Kind} ${clock(mark.AtS)}`;
      return;
    }
    if (step === 0) return;
    e.preventDefault();
    e.stopPropagation();
    if (this.nudged?.mark !== mark) this.nudged = { mark, from: mark.AtS, timer: 0 };
    clearTimeout(this.nudged.timer);
    mark.AtS = Math.round(mark.AtS) + step;
    this.placeMarks();
    this.readout.textContent = `${mark.Kind} ${clock(mark.AtS)}`;
    this.nudged.timer = window.setTimeout(() => this.settle(mark), 1200);
  }

  private settle(mark: Mark): void {
    const moved = this.nudged;
    if (moved?.mark !== mark) return;
    clearTimeout(moved.timer);
    this.nudged = null;
    if (mark.AtS !== moved.from) void this.save(mark, moved.from, true);
  }

  /** save moves a mark on the server; when it refuses, the mark goes back. */
  private async save(mark: Mark, from: number, undoable: boolean): Promise<void> {
    const problem = this.root.querySelector<HTMLElement>("[data-problem]")!;
    problem.hidden = true;
    try {
      const body = new URLSearchParams({ mark: mark.ID, at: clock(mark.AtS), was: mark.At });
      const answer = await sent(this.root.dataset.save ?? "", { method: "POST", body, headers: { Accept: "application/json" } });
      const said = (await answer.json()) as { error?: { message: string; fix: string } };
      if (said.error) throw new Error(`${said.error.message}. ${said.error.fix}.`);
    } catch (e) {
      mark.AtS = from;
      this.placeMarks();
      problem.textContent = e instanceof TypeError ? this.words.failed : String((e as Error).message);
      problem.hidden = false;
      return;
    }
    const before = mark.At;
    mark.At = clock(mark.AtS);
    const typed = document.getElementById(`at-${mark.ID}`) as HTMLInputElement | null;
    if (typed) {
      typed.value = mark.At;
      const was = typed.form?.elements.namedItem("was") as HTMLInputElement | null;
      if (was) was.value = mark.At;
    }
    if (undoable) this.undoes.push({ mark, back: from });
    this.button("undo").disabled = this.undoes.length === 0;
    this.readout.textContent = undoable ? `${mark.Kind} ${this.words.moved.replace("{from}", before).replace("{to}", mark.At)}` : this.words.undone;
  }

  private undo(): void {
    const last = this.undoes.pop();
    if (!last) return;
    const from = last.mark.AtS;
    last.mark.AtS = last.back;
    this.placeMarks();
    void this.save(last.mark, from, false);
  }

  // Zoom and pan

  private button(name: string): HTMLButtonElement {
    return this.root.querySelector<HTMLButtonElement>(`[data-do="${name}"]`)!;
  }

  private do(what: string): void {
    if (what === "undo") this.undo();
    else this.zoom.do(what);
  }

  private buttons(): void {
    for (const b of this.root.querySelectorAll<HTMLButtonElement>("[data-do]")) b.addEventListener("click", () => this.do(b.dataset.do ?? ""));
  }

  private keys(): void {
    this.canvas.addEventListener("keydown", (e) => {
      const step = (e.shiftKey ? 10 : 1) * Math.max(1, Math.round((this.plot.scales.x!.max! - this.plot.scales.x!.min!) / 200));
      const known: Record<string, () => void> = {
        ArrowLeft: () => this.step(-step),
        ArrowRight: () => this.step(step),
        "+": () => this.do("in"),
        "-": () => this.do("out"),
        "0": () => this.do("all"),
      };
      const act = known[e.key];
      if (!act) return;
      e.preventDefault();
      act();
    });
  }

  private cursorS: number | null = null;

  private step(by: number): void {
    const { min, max } = this.plot.scales.x!;
    this.cursorS = Math.min(this.whole[1], Math.max(this.whole[0], (this.cursorS ?? ((min ?? 0) + (max ?? 0)) / 2) + by));
    if (this.cursorS < min! || this.cursorS > max!) {
      this.zoom.by(1, this.cursorS < min! ? -0.25 : 0.25);
      this.zoom.now();
    }
    // The plot takes its new scale at the end of this turn.
    queueMicrotask(() => this.plot.setCursor({ left: this.plot.valToPos(this.cursorS!, "x"), top: this.plot.over.clientHeight / 2 }));
  }
}

/** onto reads a curve at other times, linearly; null outside it. */
function onto(x: number[], at: number[], v: number[]): (number | null)[] {
  let k = 0;
  return x.map((t) => {
    while (k + 1 < at.length && at[k + 1]! < t) k++;
    const a = at[k], b = at[k + 1];
    if (a === undefined || b === undefined || t < a || t > b) return null;
    return v[k]! + ((v[k + 1]! - v[k]!) * (t - a)) / (b - a);
  });
}

async function start(): Promise<void> {
  const root = document.querySelector<HTMLElement>("[data-plot]");
  if (!root) return;
  try {
    const answer = await fetch(root.dataset.plot ?? "", { headers: { Accept: "application/json" } });
    const data = (await answer.json()) as Data;
    if (!answer.ok || data.at_s.length < 2) return root.remove();
    root.hidden = false;
    new CookPlot(root, data, JSON.parse(root.dataset.words ?? "{}") as Words);
    const still = document.querySelector<HTMLDetailsElement>("details.still");
    if (still) still.open = false;
    root.dataset.ready = "yes";
  } catch {
    root.remove(); // the still figure below shows the same traces
  }
}

startPhotos();
void start();
void fillIn(() => {}); // what rests on every sample of a long record comes later
