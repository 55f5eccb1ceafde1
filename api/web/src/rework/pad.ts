// A member drawn small, to be clicked: near enough for a thumb once it is zoomed in. The numbers beside it
// are the truth; the pad follows them and writes into them. Everything is in the display unit.
import { need } from "../frame";

export type Place = [number, number];

export interface Sketch {
  /** Closed outlines, drawn as the thing itself. */
  rings: Place[][];
  /** Points that were clicked, or single places. */
  points: Place[];
}

interface Box {
  left: number;
  low: number;
  width: number;
  height: number;
}

const SVG = "http://www.w3.org/2000/svg";
const MARGIN = 0.06;
const STEP = 2;
const MOST_ZOOM = 256;

export class Pad {
  onClick: (place: Place) => void = () => undefined;
  onBack: () => void = () => undefined;
  private readonly svg: SVGSVGElement;
  private outline: Place[] = [];
  private others: Place[][] = [];
  private sketch: Sketch = { rings: [], points: [] };
  private zoom = 1;
  private middle: Place | null = null;

  constructor(private readonly box: HTMLElement) {
    this.svg = need<SVGSVGElement>('[data-part="pad"]', box);
    this.svg.addEventListener("click", (event) => {
      const place = this.snapped(event);
      this.middle = place;
      this.onClick(place);
    });
    const on = (name: string, act: () => void): void =>
      need<HTMLButtonElement>(`[data-pad="${name}"]`, box).addEventListener("click", act);
    on("in", () => this.zoomTo(this.zoom * STEP));
    on("out", () => this.zoomTo(this.zoom / STEP));
    on("whole", () => this.zoomTo(1));
    on("back", () => this.onBack());
  }

  /** Say what the next click does. */
  step(words: string): void {
    need('[data-part="step"]', this.box).textContent = words;
  }

  /** Show a member, and what is on record on it. */
  show(outline: Place[], others: Place[][]): void {
    this.outline = outline;
    this.others = others;
    this.middle = null;
    this.zoom = 1;
    this.paint();
  }

  draw(sketch: Sketch): void {
    this.sketch = sketch;
    this.paint();
  }

  private zoomTo(zoom: number): void {
    const at = middleOf([...this.sketch.rings.flat(), ...this.sketch.points]);
    this.middle = at ?? this.middle;
    this.zoom = Math.min(MOST_ZOOM, Math.max(1, zoom));
    this.paint();
  }

  private get view(): Box {
    const whole = boxOf(this.outline);
    if (this.zoom <= 1) return whole;
    const [s, o] = this.middle ?? [whole.left + whole.width / 2, whole.low + whole.height / 2];
    const [width, height] = [whole.width / this.zoom, whole.height / this.zoom];
    return { left: s - width / 2, low: o - height / 2, width, height };
  }

  private snapped(event: MouseEvent): Place {
    const view = this.view;
    const matrix = this.svg.getScreenCTM();
    if (matrix === null) return [view.left, view.low];
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix.inverse());
    const step = gridStep(view.width);
    return [at.x, -at.y].map((value) => Math.round(value / step) * step) as Place;
  }

  private paint(): void {
    const view = this.view;
    const { svg } = this;
    svg.setAttribute("viewBox", `${view.left} ${-(view.low + view.height)} ${view.width} ${view.height}`);
    svg.replaceChildren();
    const ring = (points: Place[], name: string): void => {
      svg.append(shape("polygon", { points: points.map(([s, o]) => `${s},${-o}`).join(" "), class: name }));
    };
    ring(this.outline, "pad-member");
    for (const one of this.others) ring(one, "pad-other");
    for (const one of this.sketch.rings) ring(one, "pad-own");
    for (const [s, o] of this.sketch.points) {
      svg.append(shape("circle", { cx: String(s), cy: String(-o), r: String(view.width / 90), class: "corner" }));
    }
  }
}

function boxOf(points: Place[]): Box {
  if (points.length === 0) return { left: 0, low: 0, width: 1, height: 1 };
  const [stations, offsets] = [points.map(([s]) => s), points.map(([, o]) => o)];
  const [left, low] = [Math.min(...stations), Math.min(...offsets)];
  const [width, height] = [Math.max(...stations) - left, Math.max(...offsets) - low];
  const edge = MARGIN * Math.max(width, height);
  return { left: left - edge, low: low - edge, width: width + 2 * edge, height: height + 2 * edge };
}

function middleOf(points: Place[]): Place | null {
  if (points.length === 0) return null;
  const [stations, offsets] = [points.map(([s]) => s), points.map(([, o]) => o)];
  return [(Math.min(...stations) + Math.max(...stations)) / 2, (Math.min(...offsets) + Math.max(...offsets)) / 2];
}

// About one css px of a small pad: finer steps would be the hand's shake.
function gridStep(width: number): number {
  const rough = width / 200;
  const power = 10 ** Math.floor(Math.log10(rough));
  return (rough / power < 2 ? 1 : rough / power < 5 ? 2 : 5) * power;
}

function shape(name: string, attributes: Record<string, string>): SVGElement {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}
