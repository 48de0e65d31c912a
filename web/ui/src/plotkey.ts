// What plots share: the clock of their axis, colours of the theme, and the key
// that says which line is which, by colour and by dash.
import type uPlot from "uplot";

export const clock = (s: number): string => {
  const sign = s < 0 ? "−" : "";
  const t = Math.round(Math.abs(s));
  return `${sign}${Math.floor(t / 60)}:${String(t % 60).padStart(2, "0")}`;
};

export const colour = (el: Element, name: string): string => getComputedStyle(el).getPropertyValue(`--trivet-${name}`).trim();

/** clockAxis is the axis of times from heat on. */
export function clockAxis(ink: string, grid: uPlot.Axis.Grid, font: string, label: string): uPlot.Axis {
  return {
    stroke: ink, grid, font, label, labelFont: font,
    values: (_u, at) => at.map(clock),
    incrs: [1, 5, 10, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 259200, 604800],
  };
}

export interface KeyLine {
  name: string;
  stroke: string;
  dash: readonly number[];
  marker?: string; // path about (20, 5)
}

export function keyOf(lines: KeyLine[]): HTMLUListElement {
  const space = "http://www.w3.org/2000/svg";
  const list = document.createElement("ul");
  list.className = "key";
  for (const l of lines) {
    const item = document.createElement("li");
    const svg = document.createElementNS(space, "svg");
    svg.setAttribute("viewBox", "0 0 40 10");
    svg.setAttribute("role", "img");
    const title = document.createElementNS(space, "title");
    title.textContent = l.name;
    const line = document.createElementNS(space, "path");
    line.setAttribute("d", "M0 5H40");
    line.setAttribute("fill", "none");
    line.setAttribute("stroke", l.stroke);
    line.setAttribute("stroke-width", "2.5");
    line.setAttribute("stroke-dasharray", l.dash.join(" "));
    svg.append(title, line);
    if (l.marker) {
      const mark = document.createElementNS(space, "path");
      mark.setAttribute("d", l.marker);
      mark.setAttribute("fill", l.stroke);
      mark.setAttribute("stroke", l.stroke);
      svg.append(mark);
    }
    const word = document.createElement("span");
    word.setAttribute("aria-hidden", "true"); // the line's title says it
    word.textContent = l.name;
    item.append(svg, word);
    list.append(item);
  }
  return list;
}
