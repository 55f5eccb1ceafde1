// Draws the work on the picture: marks, the scale reference, the points that place the photo.
import Feature, { type FeatureLike } from "ol/Feature";
import LineString from "ol/geom/LineString";
import Point from "ol/geom/Point";
import VectorLayer from "ol/layer/Vector";
import VectorSource from "ol/source/Vector";
import Style from "ol/style/Style";
import type { Px } from "../geometry";
import type { Canvas } from "./canvas";
import type { ScaleFinder } from "./finder";
import type { Suggestions } from "./suggestions";
import { enteredLines } from "./mark-light";
import { cylinderOf } from "./panel-taken";
import { foundLines, handlesOf, wayOf } from "./scales";
import { toGeometry } from "./shapes";
import type { Store } from "./store";
import { dotStyles, FOUND_COLOR, lineStyles, markStyles, pointStyles, proposalStyles, REFERENCE_COLOR } from "./styles";
import type { Mark, PhotoPart } from "./types";

export const PAIR_COLOR = "#ffffff";

export class Layers {
  readonly marks = new VectorSource();
  private readonly reference = new VectorSource();
  private readonly proposals = new VectorSource();
  private readonly shown = new Map<string, { mark: Mark; feature: Feature }>();
  readonly referencePoints: Feature<Point>[] = [];

  constructor(
    private readonly canvas: Canvas,
    private readonly store: Store,
    private readonly finder: ScaleFinder,
    private readonly suggestions: Suggestions,
    private readonly photo: () => PhotoPart,
  ) {
    const shared = { updateWhileAnimating: true, updateWhileInteracting: true };
    canvas.map.addLayer(
      new VectorLayer({ source: this.marks, style: (f) => this.styleOf(f), zIndex: 10, ...shared }),
    );
    canvas.map.addLayer(new VectorLayer({ source: this.reference, zIndex: 12, ...shared }));
    canvas.map.addLayer(new VectorLayer({ source: this.proposals, zIndex: 14, ...shared }));
    store.onChange((change) => {
      if (change === "doc") this.syncMarks();
      if (change === "selection" || change === "tool") this.marks.changed();
      if (change === "doc" || change === "panel" || change === "tool" || change === "found" || change === "measures") this.syncReference();
      if (change === "found" || change === "panel") this.syncProposals();
    });
    this.syncMarks();
    this.syncReference();
  }

  private styleOf(feature: FeatureLike): Style[] {
    const mark = feature.get("mark") as Mark | undefined;
    return mark ? markStyles(mark.kind, mark.id, mark.id === this.store.selected) : [];
  }

  featureOf(id: string): Feature | undefined {
    return this.shown.get(id)?.feature;
  }

  /** Put the marks' stored shapes back, such as after a refused edit. */
  redraw(id: string): void {
    const entry = this.shown.get(id);
    if (entry) entry.feature.setGeometry(toGeometry(entry.mark.shape, this.canvas));
  }

  private syncMarks(): void {
    const wanted = new Map(this.store.doc.marks.map((mark) => [mark.id, mark]));
    for (const [id, entry] of this.shown) {
      if (wanted.has(id)) continue;
      this.marks.removeFeature(entry.feature);
      this.shown.delete(id);
    }
    for (const mark of wanted.values()) {
      const entry = this.shown.get(mark.id);
      if (entry?.mark === mark) continue;
      if (!entry) {
        const feature = new Feature(toGeometry(mark.shape, this.canvas));
        feature.set("mark", mark);
        this.marks.addFeature(feature);
        this.shown.set(mark.id, { mark, feature });
        continue;
      }
      entry.feature.setGeometry(toGeometry(mark.shape, this.canvas));
      entry.feature.set("mark", mark);
      entry.mark = mark;
    }
  }

  private syncReference(): void {
    this.reference.clear();
    this.referencePoints.length = 0;
    this.drawScale();
    if (this.store.panel === "marks") this.drawShadows();
    if (this.store.panel === "place") this.drawPairs();
  }

  private syncProposals(): void {
    this.proposals.clear();
    if (this.store.panel !== "marks") return;
    for (const one of this.suggestions.list) {
      const feature = new Feature(toGeometry(one.shape, this.canvas));
      feature.set("proposal", one.id);
      feature.setStyle(proposalStyles(`${one.id}?`, one.id === this.suggestions.current));
      this.proposals.addFeature(feature);
    }
  }

  private drawScale(): void {
    const { scale } = this.store.doc;
    const axis = this.store.panel === "scale" ? cylinderOf(this.photo())?.axis : null;
    if (axis) this.line(axis);
    const { found } = this.finder;
    if (found && this.store.panel === "scale") this.drawFound(foundLines(found.scale), FOUND_COLOR);
    if (!scale) return;
    if (!found) this.drawFound(foundLines(scale), REFERENCE_COLOR);
    const points = handlesOf(scale);
    const drawn = wayOf(scale)?.drawn;
    if (drawn === "line" && points.length > 1) this.line(points);
    if (drawn === "ring" && points[0]) this.line([...points, points[0]]);
    if (drawn === "edges") for (let i = 0; i + 1 < points.length; i += 2) this.line(points.slice(i, i + 2));
    const editable = this.store.panel === "scale";
    points.forEach((p, i) => {
      const feature = this.point(p, REFERENCE_COLOR, editable ? String(i + 1) : "", editable);
      if (editable) this.referencePoints.push(feature);
    });
  }

  private drawShadows(): void {
    for (const light of this.store.doc.marks.flatMap((mark) => mark.light ?? [])) {
      if (light.kind !== "shadow") continue;
      this.line(light.image, FOUND_COLOR);
      if (light.light.kind === "post") this.line(light.light.image, FOUND_COLOR);
    }
    for (const line of enteredLines()) this.line(line, FOUND_COLOR);
  }

  /** What the program found: ticks as lines, single points as dots. */
  private drawFound(lines: readonly Px[][], color: string): void {
    for (const line of lines) {
      if (line.length > 1) this.line(line, color);
      else if (line[0]) {
        const dot = new Feature(new Point(this.canvas.toView(line[0])));
        dot.setStyle(dotStyles(color));
        this.reference.addFeature(dot);
      }
    }
  }

  private drawPairs(): void {
    (this.store.doc.placement?.image ?? []).forEach((p, i) => {
      this.referencePoints.push(this.point(p, PAIR_COLOR, String.fromCharCode(65 + i), true));
    });
  }

  private line(points: readonly Px[], color = REFERENCE_COLOR): void {
    const feature = new Feature(new LineString(points.map((p) => this.canvas.toView(p))));
    feature.setStyle(lineStyles(color, color === FOUND_COLOR ? 1.5 : 2));
    this.reference.addFeature(feature);
  }

  private point(at: Px, color: string, text: string, handle: boolean): Feature<Point> {
    const feature = new Feature(new Point(this.canvas.toView(at)));
    const styles = pointStyles(color, text);
    feature.setStyle(handle ? styles : styles.slice(0, 2));
    this.reference.addFeature(feature);
    return feature;
  }
}
