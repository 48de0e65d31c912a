// The plot of a cook: zoom, pan, a cursor that is read out, and marks that can
// be dragged and put back.
import uPlot from "uplot";
import "uplot/dist/uPlot.min.css";
import { startPhotos } from "./photos";

interface Mark {
  ID: string;
  Kind: string;
  At: string;
  AtS: number;
}

interface Data {
  at_s: number[];
  unit: string;
  channels: { name: string; place: string; values: (number | null)[] }[];
  predicted?: { at_s: number[]; values: number[] };
}

type Words = Record<"moved" | "undo" | "failed" | "at" | "predicted" | "missing" | "undone" | "axis", string>;

const clock = (s: number): string => {
  const sign = s < 0 ? "−" : "";
  const t = Math.round(Math.abs(s));
  return `${sign}${Math.floor(t / 60)}:${String(t % 60).padStart(2, "0")}`;
};

const colour = (el: Element, name: string): string => getComputedStyle(el).getPropertyValue(`--trivet-${name}`).trim();

const dashes = [[], [8, 4], [2, 3], [10, 3, 2, 3], [5, 2], [1, 4]];

class CookPlot {
  private readonly plot: uPlot;
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
    const columns: (number | null)[][] = data.channels.map((c) => c.values);
    this.names = data.channels.map((c) => c.name);
    if (data.predicted) {
      columns.push(onto(x, data.predicted.at_s, data.predicted.values));
      this.names.push(words.predicted);
    }
    this.plot = new uPlot(this.options(), [x, ...columns] as uPlot.AlignedData, this.canvas);
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
        { stroke: ink, grid, font, label: this.words.axis, labelFont: font, values: (_u, at) => at.map(clock), incrs: [1, 5, 10, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 259200, 604800] },
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
      hooks: { setCursor: [(u) => this.read(u)], setScale: [() => this.placeMarks()], setSize: [() => this.placeMarks()] },
    };
  }

  /** key says which line is which, by colour and by dash. */
  private drawKey(): void {
    const list = document.createElement("ul");
    list.className = "key";
    this.names.forEach((name, i) => {
      const s = this.plot.series[i + 1]!;
      const item = document.createElement("li");
      const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
      svg.setAttribute("viewBox", "0 0 40 10");
      svg.setAttribute("role", "img");
      const title = document.createElementNS("http://www.w3.org/2000/svg", "title");
      title.textContent = name;
      const line = document.createElementNS("http://www.w3.org/2000/svg", "path");
      line.setAttribute("d", "M0 5H40");
      line.setAttribute("fill", "none");
      line.setAttribute("stroke", String(typeof s.stroke === "function" ? s.stroke(this.plot, i + 1) : s.stroke));
      line.setAttribute("stroke-width", "2.5");
      line.setAttribute("stroke-dasharray", (s.dash ?? []).join(" "));
      svg.append(title, line);
      const word = document.createElement("span");
      word.setAttribute("aria-hidden", "true"); // the line's title says it
      word.textContent = name;
      item.append(svg, word);
      list.append(item);
    });
    this.canvas.before(list);
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
      handle.disabled = mark.Kind === "heat on"; // the zero of all other times
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
      const answer = await fetch(this.root.dataset.save ?? "", { method: "POST", body, headers: { Accept: "application/json" } });
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

  private view(factor: number, shift: number): void {
    const { min, max } = this.plot.scales.x!;
    const a = min ?? this.whole[0];
    const b = max ?? this.whole[1];
    const half = Math.max(2, ((b - a) / 2) * factor);
    const middle = (a + b) / 2 + shift * (b - a);
    let low = middle - half;
    let high = middle + half;
    if (high - low >= this.whole[1] - this.whole[0]) [low, high] = this.whole;
    else if (low < this.whole[0]) [low, high] = [this.whole[0], this.whole[0] + high - low];
    else if (high > this.whole[1]) [low, high] = [this.whole[1] - (high - low), this.whole[1]];
    this.plot.setScale("x", { min: low, max: high });
  }

  private do(what: string): void {
    switch (what) {
      case "in": return this.view(0.5, 0);
      case "out": return this.view(2, 0);
      case "left": return this.view(1, -0.25);
      case "right": return this.view(1, 0.25);
      case "all": return this.plot.setScale("x", { min: this.whole[0], max: this.whole[1] });
      case "undo": return this.undo();
    }
  }

  private buttons(): void {
    for (const b of this.root.querySelectorAll<HTMLButtonElement>("[data-do]")) b.addEventListener("click", () => this.do(b.dataset.do ?? ""));
    this.canvas.addEventListener("wheel", (e) => {
      if (!e.ctrlKey && !e.shiftKey) return; // plain scrolling belongs to the page
      e.preventDefault();
      this.view(e.deltaY > 0 ? 1.25 : 0.8, 0);
    }, { passive: false });
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
    if (this.cursorS < min! || this.cursorS > max!) this.view(1, this.cursorS < min! ? -0.25 : 0.25);
    this.plot.setCursor({ left: this.plot.valToPos(this.cursorS, "x"), top: this.plot.over.clientHeight / 2 });
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
    if (!answer.ok || data.at_s.length < 2) return;
    root.hidden = false;
    new CookPlot(root, data, JSON.parse(root.dataset.words ?? "{}") as Words);
    const still = document.querySelector<HTMLDetailsElement>("details.still");
    if (still) still.open = false;
    root.dataset.ready = "yes";
  } catch {
    root.hidden = true; // the still figure below shows the same traces
  }
}

startPhotos();
void start();
