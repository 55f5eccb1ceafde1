// A small pad to draw a member's outline on; the text field beside it is the truth, the pad follows it.
import { fieldText, parseNumber } from "./units";

const SVG = "http://www.w3.org/2000/svg";
const MARGIN = 0.08;

export interface OutlinePad {
  /** Take back the last corner. */
  undo(): void;
}

interface Box {
  left: number;
  low: number;
  width: number;
  height: number;
}

/** Tie a pad and a text field together: clicks add corners, typing redraws. */
export function padFor(svg: SVGSVGElement, field: HTMLTextAreaElement): OutlinePad {
  const lines = (): string[] => field.value.split("\n").map((line) => line.trim()).filter(Boolean);
  const write = (next: string[]): void => {
    field.value = next.join("\n");
    draw();
  };
  let box = boxOf([]);
  const draw = (): void => {
    const points = lines().map(cornerOf).filter((point) => point !== null);
    box = boxOf(points);
    paint(svg, points, box);
  };
  field.addEventListener("input", draw);
  svg.addEventListener("click", (event) => {
    const [station, offset] = placeOf(svg, event, box);
    const step = gridStep(box);
    const snapped = [station, offset].map((value) => fieldText(Math.round(value / step) * step));
    write([...lines(), snapped.join(" ")]);
  });
  draw();
  return { undo: () => write(lines().slice(0, -1)) };
}

function cornerOf(line: string): [number, number] | null {
  const [station, offset] = line.split(/[\s;]+/).map((part) => parseNumber(part));
  return station === null || offset === null || station === undefined || offset === undefined
    ? null
    : [station, offset];
}

// Room for the shape and a little beyond it, so that the next corner can be outside.
function boxOf(points: [number, number][]): Box {
  if (points.length === 0) return { left: 0, low: 0, width: 1000, height: 400 };
  const stations = points.map(([s]) => s);
  const offsets = points.map(([, o]) => o);
  const [left, right] = [Math.min(0, ...stations), Math.max(...stations, 1)];
  const [low, high] = [Math.min(0, ...offsets), Math.max(...offsets, 1)];
  const few = points.length < 3 ? 1 : MARGIN;
  const width = Math.max(right - left, 1);
  const height = Math.max(high - low, width / 4);
  return {
    left: left - MARGIN * width,
    low: low - MARGIN * height,
    width: width * (1 + MARGIN + few),
    height: height * (1 + MARGIN + few),
  };
}

function gridStep(box: Box): number {
  const rough = box.width / 100;
  const power = 10 ** Math.floor(Math.log10(rough));
  return (rough / power < 2 ? 1 : rough / power < 5 ? 2 : 5) * power;
}

function placeOf(svg: SVGSVGElement, event: MouseEvent, box: Box): [number, number] {
  const matrix = svg.getScreenCTM();
  if (matrix === null) return [box.left, box.low];
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix.inverse());
  return [at.x, -at.y];
}

function paint(svg: SVGSVGElement, points: [number, number][], box: Box): void {
  svg.setAttribute("viewBox", `${box.left} ${-(box.low + box.height)} ${box.width} ${box.height}`);
  svg.replaceChildren();
  const written = points.map(([s, o]) => `${s},${-o}`).join(" ");
  svg.append(shape("polygon", { points: written, class: "outline-zone" }));
  svg.append(shape("polyline", { points: written, class: "outline-edge" }));
  const radius = box.width / 100;
  for (const [s, o] of points) {
    svg.append(shape("circle", { cx: String(s), cy: String(-o), r: String(radius), class: "corner" }));
  }
}

function shape(name: string, attributes: Record<string, string>): SVGElement {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}
