// Setting points on the picture: outlines, scale references, point pairs. Pointer, touch and keyboard all
// come in through `add`, so they give the same result.
import Feature from "ol/Feature";
import LineString from "ol/geom/LineString";
import Point from "ol/geom/Point";
import Polygon from "ol/geom/Polygon";
import VectorLayer from "ol/layer/Vector";
import type MapBrowserEvent from "ol/MapBrowserEvent";
import VectorSource from "ol/source/Vector";
import {
  crossesItself,
  distance,
  ellipseFromAxis,
  ellipseOutline,
  type Px,
  simplifyRing,
} from "../geometry";
import type { Canvas } from "./canvas";
import { Freehand } from "./freehand";
import { scaleKind, wayNamed } from "./scales";
import type { Store, Tool } from "./store";
import { FOUND_COLOR, lineStyles, LOOKS, pointStyles, REFERENCE_COLOR } from "./styles";

// A click or tap this near to the first corner, in css px, closes the outline: half a fingertip for touch.
const CLOSE_PX = { fine: 9, touch: 18 };
const AGAIN_PX = 8;
const AGAIN_MS = 500;
// A freehand line may leave the hand's path by at most this many css px when it is thinned.
const FREEHAND_PX = 0.6;

interface Plan {
  least: number;
  most: number;
  color: string;
  ring: boolean;
  steps: readonly string[];
  freehand?: boolean;
}

export class DrawTool {
  points: Px[] = [];
  private hover: Px | null = null;
  private lastAdd = 0;
  private readonly sketch = new VectorSource();
  private readonly freehand: Freehand;
  /** Set by the page. */
  onReference: (tool: Extract<Tool, { name: "reference" }>, points: Px[]) => void = () => undefined;
  onLight: (tool: Extract<Tool, { name: "light" }>, points: Px[]) => void = () => undefined;
  onEdge: (points: Px[]) => void = () => undefined;
  onAxis: (points: Px[]) => void = () => undefined;
  onPair: (point: Px) => void = () => undefined;
  onSuggest: (what: Extract<Tool, { name: "suggest" }>["what"], points: Px[]) => void = () => undefined;
  onProgress: () => void = () => undefined;
  say: (words: string) => void = () => undefined;

  constructor(
    private readonly canvas: Canvas,
    private readonly store: Store,
  ) {
    canvas.map.addLayer(new VectorLayer({ source: this.sketch, zIndex: 50 }));
    canvas.map.on("click", (event) => this.onClick(event));
    canvas.map.on("pointermove", (event) => {
      if (event.dragging || !this.active) return;
      this.setHover(canvas.inside(canvas.toPixel(event.coordinate)));
    });
    this.freehand = new Freehand(
      canvas,
      (path) => this.showPath(path),
      (path) => this.endPath(path),
    );
    store.onChange((change) => {
      if (change === "tool") this.restart();
    });
  }

  get active(): boolean {
    return this.store.tool.name !== "look";
  }

  get plan(): Plan | null {
    return planOf(this.store.tool);
  }

  get canFinish(): boolean {
    const plan = this.plan;
    return Boolean(plan && plan.most > plan.least && this.points.length >= plan.least);
  }

  /** What the next click will be, in words; with the count, so that every point is announced. */
  get step(): string {
    const plan = this.plan;
    if (!plan) return "";
    const n = this.points.length;
    const next = plan.steps[Math.min(n, plan.steps.length - 1)] ?? "";
    return n === 0 ? next : `${n} set. ${next}`;
  }

  /** Go on with points that an earlier visit set. */
  resume(points: Px[]): void {
    this.points = points;
    this.redraw();
  }

  private onClick(event: MapBrowserEvent<PointerEvent | KeyboardEvent | WheelEvent>): void {
    const plan = this.plan;
    if (!plan || plan.freehand) return;
    const at = this.canvas.inside(this.canvas.toPixel(event.coordinate));
    const touch = event.originalEvent instanceof PointerEvent && event.originalEvent.pointerType === "touch";
    this.add(at, touch ? CLOSE_PX.touch : CLOSE_PX.fine);
    // A finger that has left the glass hovers nowhere.
    if (touch) this.setHover(null);
  }

  /** Set the next point; closes the outline at its first corner or when clicked twice. */
  add(at: Px, closePx = CLOSE_PX.fine): void {
    const plan = this.plan;
    if (!plan) return;
    const near = (p: Px | undefined, px: number): boolean =>
      Boolean(p && distance(p, at) <= px * this.canvas.resolution);
    const last = this.points[this.points.length - 1];
    const now = performance.now();
    const again = near(last, AGAIN_PX) && now - this.lastAdd < AGAIN_MS;
    this.lastAdd = now;
    if (this.canFinish && (again || (plan.ring && near(this.points[0], closePx)))) {
      this.finish();
      return;
    }
    if (again || (last && last[0] === at[0] && last[1] === at[1])) return;
    this.points = [...this.points, at];
    if (this.points.length >= plan.most) this.finish();
    else this.redraw();
  }

  /** Take the last point back; true if there was one. */
  removeLast(): boolean {
    if (this.points.length === 0) return false;
    this.points = this.points.slice(0, -1);
    this.redraw();
    return true;
  }

  /** Drop what is being drawn; a second call puts the tool down. */
  cancel(): void {
    if (this.points.length > 0) this.restart();
    else this.store.setTool({ name: "look" });
  }

  finish(): void {
    const { tool } = this.store;
    const plan = this.plan;
    if (!plan || this.points.length < plan.least) return;
    const points = this.points;
    if (tool.name === "draw") this.finishMark(tool, points);
    else if (tool.name === "reference") this.onReference(tool, points);
    else if (tool.name === "axis") this.onAxis(points);
    else if (tool.name === "edge") this.onEdge(points);
    else if (tool.name === "light") this.onLight(tool, points);
    else if (tool.name === "suggest") {
      this.restart();
      this.onSuggest(tool.what, points);
    } else if (tool.name === "pair" && points[0]) {
      this.points = [];
      this.redraw();
      this.onPair(points[0]);
    }
  }

  private finishMark(tool: Extract<Tool, { name: "draw" }>, points: Px[]): void {
    if (tool.shape === "ellipse") {
      const [a, b, side] = points as [Px, Px, Px];
      const ellipse = ellipseFromAxis(a, b, side);
      if (Math.min(...ellipse.semi_axes) < 0.01) {
        this.say("The ellipse has no width. Set its three points again, the third beside the line.");
        this.restart();
        return;
      }
      this.store.addMark(tool.kind, { type: "Ellipse", ...ellipse });
    } else if (crossesItself(points)) {
      this.say("The outline crosses itself, so it has no area. Take back the last corner and go round it once.");
      if (tool.shape === "freehand") this.restart();
      return;
    } else {
      this.store.addMark(tool.kind, { type: "Polygon", coordinates: [points] });
    }
    this.store.setTool({ name: "look" });
    const made = this.store.doc.marks[this.store.doc.marks.length - 1];
    this.store.select(made?.id ?? null);
  }

  private restart(): void {
    this.points = [];
    this.hover = null;
    this.freehand.arm(Boolean(this.plan?.freehand));
    this.redraw();
  }

  private showPath(path: readonly Px[]): void {
    this.sketch.clear();
    const view = path.map((p) => this.canvas.toView(p));
    if (view.length > 1) this.feature(new LineString(view), this.plan?.color ?? "#ffffff");
  }

  private endPath(path: Px[]): void {
    this.points = simplifyRing(path, FREEHAND_PX * this.canvas.resolution);
    if (this.points.length >= 3) this.finish();
    else {
      this.say("That was too short for an outline. Draw once round the place without lifting.");
      this.restart();
    }
  }

  setHover(at: Px | null): void {
    this.hover = at;
    this.redraw();
  }

  private redraw(): void {
    this.sketch.clear();
    const plan = this.plan;
    if (plan && !plan.freehand) {
      const points = this.hover && this.points.length > 0 ? [...this.points, this.hover] : this.points;
      this.drawSketch(plan, points);
    }
    this.onProgress();
  }

  private drawSketch(plan: Plan, points: Px[]): void {
    const view = (list: readonly Px[]): Px[] => list.map((p) => this.canvas.toView(p));
    const { tool } = this.store;
    if (tool.name === "draw" && tool.shape === "ellipse" && points.length === 3) {
      const [a, b, side] = points as [Px, Px, Px];
      const ring = ellipseOutline(ellipseFromAxis(a, b, side));
      this.feature(new Polygon([view([...ring, ring[0] as Px])]), plan.color);
    } else if (points.length > 1) {
      const ring = plan.ring && points.length > 2 && points[0] ? [...points, points[0]] : points;
      this.feature(new LineString(view(ring)), plan.color);
    }
    this.points.forEach((p, i) => {
      const feature = new Feature(new Point(this.canvas.toView(p)));
      const first = i === 0 && plan.ring && this.canFinish;
      feature.setStyle(pointStyles(plan.color, first ? "close" : ""));
      this.sketch.addFeature(feature);
    });
  }

  private feature(geometry: LineString | Polygon, color: string): void {
    const feature = new Feature(geometry);
    feature.setStyle(lineStyles(color));
    this.sketch.addFeature(feature);
  }
}

const AREA_STEPS = [
  "Click along the edge, corner by corner.",
  "Click the next corner.",
  "Click the next corner.",
  "Go on, or close the outline: click its first corner, or press Finish.",
];
const LIGHT_STEPS = {
  shadow: ["Click the rim that throws the shadow.", "Click the tip of the shadow, along the light."],
  post: ["Click the foot of the post.", "Click the tip of the post's shadow."],
};
const SUGGEST_PLANS: Record<Extract<Tool, { name: "suggest" }>["what"], Plan> = {
  pit: { least: 1, most: 1, color: FOUND_COLOR, ring: false, steps: ["Click inside a pit: its edge is proposed."] },
  "blend-out": { least: 1, most: 1, color: FOUND_COLOR, ring: false, steps: ["Click the middle of a blend-out: its edge is proposed."] },
  region: { least: 3, most: 1e6, color: FOUND_COLOR, ring: true, steps: ["Click round the metal to be searched, corner by corner.", ...AREA_STEPS.slice(1)] },
};

function planOf(tool: Tool): Plan | null {
  if (tool.name === "look") return null;
  if (tool.name === "pair") {
    return { least: 1, most: 1, color: "#ffffff", ring: false, steps: ["Click a point on the photo that you can find on the layout."] };
  }
  if (tool.name === "reference") {
    const way = wayNamed(scaleKind(tool.kind), tool.way);
    return way ? { ...way, color: REFERENCE_COLOR, ring: way.drawn === "ring" } : null;
  }
  if (tool.name === "edge") {
    const steps = ["Click along an edge that is straight in fact, near the border of the picture.", "Click the next point along it."];
    return { least: 5, most: 1e6, color: REFERENCE_COLOR, ring: false, steps: [...steps, ...steps.slice(1), ...steps.slice(1), ...steps.slice(1), "Go on along it, or press Finish."] };
  }
  if (tool.name === "axis") {
    return { least: 2, most: 2, color: REFERENCE_COLOR, ring: false, steps: ["Click a point on the middle line of the tube.", "Click a second point on it, far from the first."] };
  }
  if (tool.name === "light") {
    return { least: 2, most: 2, color: FOUND_COLOR, ring: false, steps: LIGHT_STEPS[tool.what] };
  }
  if (tool.name === "suggest") return SUGGEST_PLANS[tool.what];
  const { color } = LOOKS[tool.kind];
  if (tool.shape === "ellipse") {
    const steps = [
      "Click one end of the longest line across it.",
      "Click the other end of that line.",
      "Click its edge beside the middle of the line.",
    ];
    return { least: 3, most: 3, color, ring: false, steps };
  }
  if (tool.shape === "freehand") {
    return { least: 3, most: 1e6, color, ring: true, freehand: true, steps: ["Draw once round the edge without lifting."] };
  }
  return { least: 3, most: 1e6, color, ring: true, steps: AREA_STEPS };
}
