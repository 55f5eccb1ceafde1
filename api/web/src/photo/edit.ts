// Changing what is there: select a mark, drag its corners or handles, move it, drag reference points.
import Collection from "ol/Collection";
import type Feature from "ol/Feature";
import { altKeyOnly, singleClick } from "ol/events/condition";
import type MultiPoint from "ol/geom/MultiPoint";
import type Point from "ol/geom/Point";
import Polygon from "ol/geom/Polygon";
import Modify from "ol/interaction/Modify";
import Translate from "ol/interaction/Translate";
import VectorLayer from "ol/layer/Vector";
import VectorSource from "ol/source/Vector";
import Style from "ol/style/Style";
import { crossesItself, distance, ellipseOutline, MANY_CORNERS, moveHandle, openRing, ringPerimeter, type Ellipse, type Px } from "../geometry";
import type { Canvas } from "./canvas";
import type { Layers } from "./layers";
import { asEllipse, fromGeometry, handlesOf, shifted, toGeometry } from "./shapes";
import { handlesOf as referenceHandles } from "./scales";
import type { Store } from "./store";
import { CORNER_RADIUS, handleImage, LOOKS } from "./styles";
import type { Mark, Shape } from "./types";

// Gloved fingers miss by this much, css px.
const REACH_PX = 18;
// Handles nearer to each other on the screen, css px, hide the edge that they are for.
const APART_PX = 24;

export class Editor {
  private readonly handles = new VectorSource();
  private interactions: (Modify | Translate)[] = [];
  private denseBefore = false;
  say: (words: string) => void = () => undefined;
  onReference: (points: Px[]) => void = () => undefined;
  onProposal: (id: string) => void = () => undefined;

  constructor(
    private readonly canvas: Canvas,
    private readonly store: Store,
    private readonly layers: Layers,
  ) {
    canvas.map.addLayer(
      new VectorLayer({
        source: this.handles,
        style: (f) => new Style({ image: handleImage((f.get("color") as string) ?? "#fff", CORNER_RADIUS) }),
        zIndex: 25,
        updateWhileInteracting: true,
      }),
    );
    canvas.map.on("click", (event) => {
      if (store.tool.name !== "look" || store.panel !== "marks" || altKeyOnly(event)) return;
      const reach = { hitTolerance: REACH_PX / 2 };
      const at = <T>(name: string): T | undefined =>
        canvas.map.forEachFeatureAtPixel(event.pixel, (f) => f.get(name) as T | undefined, reach);
      const proposal = at<string>("proposal");
      if (proposal) this.onProposal(proposal);
      else store.select(at<Mark>("mark")?.id ?? null);
    });
    store.onChange((change) => {
      if (change !== "measures" && change !== "sync") this.arm();
    });
    // Zoomed in, there is room for the handles of an outline with many corners.
    canvas.map.on("moveend", () => {
      const mark = store.selectedMark;
      if (mark && this.dense(mark) !== this.denseBefore) this.arm();
    });
    this.arm();
  }

  /** Give the selected mark, or the reference points, their handles. */
  private arm(): void {
    for (const one of this.interactions) this.canvas.map.removeInteraction(one);
    this.interactions = [];
    this.handles.clear();
    if (this.store.tool.name !== "look") return;
    if (this.store.panel === "marks") this.armMark();
    else this.armPoints();
  }

  private use(interaction: Modify | Translate): void {
    this.interactions.push(interaction);
    this.canvas.map.addInteraction(interaction);
  }

  private armMark(): void {
    const mark = this.store.selectedMark;
    const feature = mark && this.layers.featureOf(mark.id);
    if (!mark || !feature) return;
    const ellipse = asEllipse(mark.shape);
    if (this.store.moving) this.armMove(mark, feature);
    else if (ellipse) this.armEllipse(mark, ellipse, feature);
    else this.armCorners(mark, feature);
  }

  private armCorners(mark: Mark, feature: Feature): void {
    this.showCorners(mark);
    const modify = new Modify({
      features: new Collection([feature]),
      pixelTolerance: REACH_PX,
      style: new Style({ image: handleImage("#ffffff") }),
      deleteCondition: (event) => altKeyOnly(event) && singleClick(event),
    });
    modify.on("modifyend", () => {
      const geometry = feature.getGeometry();
      if (geometry) this.change(mark, fromGeometry(geometry, mark.shape, this.canvas));
    });
    this.use(modify);
  }

  private showCorners(mark: Mark): void {
    this.denseBefore = this.dense(mark);
    // The edge can be dragged all the same.
    if (mark.shape.type !== "Polygon" || this.denseBefore) return;
    const handles = handlesOf({ center: [0, 0], semi_axes: [1, 1], angle_deg: 0 }, this.canvas);
    handles.getGeometry()?.setCoordinates(mark.shape.coordinates.flat().map((p) => this.canvas.toView(p)));
    handles.set("color", LOOKS[mark.kind].color);
    this.handles.addFeature(handles);
  }

  /** Whether an outline has many corners, and they lie close on the screen. */
  private dense(mark: Mark): boolean {
    const ring = mark.shape.type === "Polygon" ? openRing(mark.shape.coordinates[0] ?? []) : [];
    return ring.length > MANY_CORNERS && ringPerimeter(ring) < ring.length * APART_PX * this.canvas.resolution;
  }

  private armEllipse(mark: Mark, ellipse: Ellipse, feature: Feature): void {
    const handles = handlesOf(ellipse, this.canvas);
    handles.set("color", LOOKS[mark.kind].color);
    this.handles.addFeature(handles);
    const modify = new Modify({
      features: new Collection<Feature>([handles]),
      pixelTolerance: REACH_PX,
      style: new Style({ image: handleImage("#ffffff") }),
    });
    let edited = ellipse;
    handles.getGeometry()?.on("change", (event) => {
      edited = movedBy(ellipse, event.target as MultiPoint, this.canvas);
      const ring = ellipseOutline(edited).map((p) => this.canvas.toView(p));
      feature.setGeometry(new Polygon([[...ring, ring[0] as Px]]));
    });
    modify.on("modifyend", () => {
      const circle = mark.shape.type === "Circle" && edited.center !== ellipse.center;
      const shape: Shape = circle
        ? { ...(mark.shape as Extract<Shape, { type: "Circle" }>), center: edited.center }
        : { type: "Ellipse", center: edited.center, semi_axes: edited.semi_axes, angle_deg: edited.angle_deg };
      this.change(mark, shape);
    });
    this.use(modify);
  }

  private armMove(mark: Mark, feature: Feature): void {
    const translate = new Translate({ features: new Collection([feature]), hitTolerance: REACH_PX });
    translate.on("translateend", (event) => {
      const [sx, sy] = event.startCoordinate as Px;
      const [ex, ey] = event.coordinate as Px;
      this.change(mark, shifted(mark.shape, ex - sx, sy - ey));
    });
    this.use(translate);
  }

  private armPoints(): void {
    const features = this.layers.referencePoints;
    if (features.length === 0) return;
    const modify = new Modify({
      features: new Collection<Feature>([...features]),
      pixelTolerance: REACH_PX,
      style: new Style({ image: handleImage("#ffffff") }),
    });
    const before = features.map((f) => (f.getGeometry() as Point).getCoordinates().join());
    modify.on("modifyend", () => {
      const { scale, placement } = this.store.doc;
      const old = this.store.panel === "scale" ? referenceHandles(scale) : placement?.image;
      const points = features.map((f, i) => {
        const at = (f.getGeometry() as Point).getCoordinates();
        // Points that were not touched keep their exact numbers.
        return at.join() === before[i] && old?.[i] ? old[i] : this.canvas.inside(this.canvas.toPixel(at));
      });
      this.onReference(points);
    });
    this.use(modify);
  }

  /** Give a mark another shape, unless the new one encloses nothing. */
  change(mark: Mark, shape: Shape): void {
    const ring = shape.type === "Polygon" ? shape.coordinates[0] : null;
    if (ring && crossesItself(ring)) {
      this.say("The outline would cross itself; the corner was put back.");
      const feature = this.layers.featureOf(mark.id);
      feature?.setGeometry(toGeometry(mark.shape, this.canvas));
      this.arm();
      return;
    }
    this.store.changeMark(mark.id, { shape }, `reshape ${mark.id}`);
  }

  /** The selected polygon's corner next to a point, within reach; for the keyboard. */
  cornerNear(at: Px): number | null {
    const shape = this.store.selectedMark?.shape;
    if (shape?.type !== "Polygon") return null;
    const ring = shape.coordinates[0] ?? [];
    let best: number | null = null;
    let reach = 2 * REACH_PX * this.canvas.resolution;
    ring.forEach((corner, i) => {
      if (distance(corner, at) < reach) [best, reach] = [i, distance(corner, at)];
    });
    return best;
  }

  /** Put a corner of the selected polygon somewhere else; null takes it out. */
  setCorner(index: number, to: Px | null): void {
    const mark = this.store.selectedMark;
    if (mark?.shape.type !== "Polygon") return;
    const ring = [...(mark.shape.coordinates[0] ?? [])];
    if (to) ring[index] = to;
    else if (ring.length > 3) ring.splice(index, 1);
    else {
      this.say("An outline needs three corners. Delete the whole mark instead.");
      return;
    }
    this.change(mark, { ...mark.shape, coordinates: [ring, ...mark.shape.coordinates.slice(1)] });
  }
}

function movedBy(before: Ellipse, handles: MultiPoint, canvas: Canvas): Ellipse {
  const now = handles.getCoordinates().map((c) => canvas.toPixel(c));
  const was = handlesOf(before, canvas).getGeometry()?.getCoordinates() ?? [];
  const index = was.findIndex((c, i) => {
    const [x, y] = canvas.toPixel(c);
    return now[i]?.[0] !== x || now[i]?.[1] !== y;
  });
  const to = now[index];
  return to ? moveHandle(before, index, to) : before;
}
