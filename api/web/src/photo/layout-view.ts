// The member's layout beside the photo: outline, stations, fasteners, and the points paired so far.
import Feature from "ol/Feature";
import CircleGeometry from "ol/geom/Circle";
import LineString from "ol/geom/LineString";
import Point from "ol/geom/Point";
import Polygon from "ol/geom/Polygon";
import { defaults as defaultInteractions } from "ol/interaction/defaults";
import VectorLayer from "ol/layer/Vector";
import OlMap from "ol/Map";
import Projection from "ol/proj/Projection";
import VectorSource from "ol/source/Vector";
import Fill from "ol/style/Fill";
import Stroke from "ol/style/Stroke";
import Style from "ol/style/Style";
import Text from "ol/style/Text";
import View from "ol/View";
import type { Px } from "../geometry";
import { letter } from "./complete";
import { pointStyles } from "./styles";
import type { Member } from "./types";

const PAIR_INK = "#ffd166";
const STEP_PX = 24;
const ZOOM_STEP = 1.5;
const ARROWS: Record<string, Px> = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

export class LayoutView {
  private readonly drawing = new VectorSource();
  private readonly points = new VectorSource();
  private map: OlMap | null = null;
  private member: Member | null = null;
  onClick: (place: Px) => void = () => undefined;

  constructor(private readonly target: HTMLElement) {
    target.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey || !this.key(event)) return;
      event.preventDefault();
      event.stopPropagation();
    });
  }

  // The crosshair at the middle of the view takes the place of the pointer, as on the photo.
  private key(event: KeyboardEvent): boolean {
    const view = this.map?.getView();
    const centre = view?.getCenter();
    const resolution = view?.getResolution();
    if (!view || !centre || resolution === undefined) return false;
    const arrow = ARROWS[event.key];
    if (arrow) {
      const step = resolution * (event.shiftKey ? 1 : STEP_PX);
      view.setCenter([centre[0]! + arrow[0] * step, centre[1]! + arrow[1] * step]);
    } else if (event.key === "+" || event.key === "=") view.setResolution(resolution / ZOOM_STEP);
    else if (event.key === "-") view.setResolution(resolution * ZOOM_STEP);
    else if (event.key === "0") this.fit();
    else if (event.key === "Enter" || event.key === " ") this.onClick(centre.slice(0, 2) as Px);
    else return false;
    return true;
  }

  /** Draw a member; null empties the view. */
  show(member: Member | null): void {
    if (member === this.member && this.map) {
      this.map.updateSize();
      return;
    }
    this.member = member;
    this.map?.setTarget(undefined);
    this.map = null;
    this.drawing.clear();
    if (!member) return;
    this.draw(member);
    this.map = this.newMap();
    this.fit();
  }

  private newMap(): OlMap {
    const projection = new Projection({ code: "layout", units: "m", metersPerUnit: 0.001 });
    const view = new View({ projection, center: [0, 0], resolution: 1, enableRotation: false });
    const map = new OlMap({
      target: this.target,
      controls: [],
      view,
      moveTolerance: 10,
      interactions: defaultInteractions({ doubleClickZoom: false, pinchRotate: false, altShiftDragRotate: false }),
      layers: [new VectorLayer({ source: this.drawing }), new VectorLayer({ source: this.points })],
    });
    map.on("click", (event) => this.onClick(event.coordinate.slice(0, 2) as Px));
    return map;
  }

  /** Show the whole member. */
  private fit(): void {
    if (!this.member || !this.map) return;
    const xs = this.member.outline.map((p) => p[0]);
    const ys = this.member.outline.map((p) => p[1]);
    const box = [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
    this.map.getView().fit(box, { padding: [28, 28, 28, 28], size: this.map.getSize() ?? [300, 300] });
  }

  private draw(member: Member): void {
    const { ink, metal } = colors();
    const first = member.outline[0];
    if (!first) return;
    const sheet = new Feature(new Polygon([[...member.outline, first]]));
    sheet.setStyle(new Style({ fill: new Fill({ color: metal }), stroke: new Stroke({ color: ink, width: 2 }) }));
    this.drawing.addFeature(sheet);
    const ys = member.outline.map((p) => p[1]);
    for (const station of member.stations) {
      const line = new Feature(new LineString([[station.at, Math.min(...ys)], [station.at, Math.max(...ys)]]));
      const text = new Text({ text: station.label, font: "13px system-ui, sans-serif", fill: new Fill({ color: ink }), stroke: new Stroke({ color: metal, width: 4 }), placement: "line", textBaseline: "bottom" });
      line.setStyle(new Style({ stroke: new Stroke({ color: ink, width: 1, lineDash: [6, 4] }), text }));
      this.drawing.addFeature(line);
    }
    for (const fastener of member.fasteners) {
      const dot = new Feature(new CircleGeometry(fastener.at, fastener.diameter / 2));
      dot.setStyle(new Style({ stroke: new Stroke({ color: ink, width: 1.5 }) }));
      this.drawing.addFeature(dot);
    }
  }

  /** Show the paired points; null places are still to be set. */
  pairs(places: readonly (Px | null)[]): void {
    this.points.clear();
    places.forEach((place, i) => {
      if (!place) return;
      const feature = new Feature(new Point(place));
      feature.setStyle(pointStyles(PAIR_INK, letter(i)));
      this.points.addFeature(feature);
    });
  }
}

function colors(): { ink: string; metal: string } {
  const style = getComputedStyle(document.documentElement);
  const value = (name: string, otherwise: string): string => style.getPropertyValue(name).trim() || otherwise;
  return { ink: value("--ink", "#16212b"), metal: value("--metal", "#dfe5e9") };
}
