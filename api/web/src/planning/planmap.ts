// The plan drawn on its member: every blend's outline and floor, what is in its way, and where its stop
// depth comes from. The member and its marks are the map page's own layers.
import Feature from "ol/Feature";
import OlMap from "ol/Map";
import View from "ol/View";
import ScaleLine from "ol/control/ScaleLine";
import Zoom from "ol/control/Zoom";
import { boundingExtent, buffer, createEmpty, extend, type Extent, isEmpty } from "ol/extent";
import GeoJSON from "ol/format/GeoJSON";
import { type Geometry as OlGeometry, Point as PointGeometry } from "ol/geom";
import { defaults as interactions } from "ol/interaction/defaults";
import VectorLayer from "ol/layer/Vector";
import Projection from "ol/proj/Projection";
import VectorSource from "ol/source/Vector";
import { Fill, RegularShape, Stroke, Style, Text } from "ol/style";
import type { Face, Geometry, MapData, Point } from "../map/data";
import { buildLayers } from "../map/layers";
import { colour } from "../map/patterns";
import { addTicks } from "../map/ticks";
import { fixed, MM_PER, type Unit } from "../units";

/** A planned blend as the service draws it; every length in mm. */
export interface DrawnBlend {
  id: string;
  label: string;
  face: Face;
  outline: Geometry;
  floor: Geometry | null;
  middle: Point;
  verdict: string;
  words: string;
  in_the_way: number;
  stop_at: Point | null;
}

const PADDING = [56, 28, 56, 60];
const CLOSEST_MM_PER_PX = 0.005;
const INNER_DASH = [7, 4];

export class PlanMap {
  private readonly map: OlMap;
  private readonly extent: Extent;
  private readonly reader: GeoJSON;
  private readonly source = new VectorSource();
  private readonly layer: VectorLayer<VectorSource>;

  constructor(box: HTMLElement, private readonly data: MapData, private readonly unit: Unit, under: HTMLElement) {
    this.extent = boundingExtent(data.member.outline);
    const room = Math.max(this.extent[2]! - this.extent[0]!, this.extent[3]! - this.extent[1]!);
    const projection = new Projection({ code: "plan-mm", units: "m", metersPerUnit: 0.001, extent: buffer(this.extent, room) });
    this.reader = new GeoJSON({ dataProjection: projection, featureProjection: projection });
    this.layer = new VectorLayer({ source: this.source, style: (one) => styleOf(one as Feature), declutter: false });
    const { member, unseen, zones, stations, fasteners, findings } = buildLayers(data, projection);
    // A planned pit has its blend's number there; both labels on one place could not be read.
    for (const one of findings.getSource()?.getFeatures() ?? []) if (one.get("kind") === "pit") one.set("label", "");
    this.map = new OlMap({
      target: box,
      layers: [member, unseen, zones, stations, fasteners, findings, this.layer],
      controls: [new Zoom(), new ScaleLine({ units: unit === "in" ? "imperial" : "metric" })],
      interactions: interactions({ altShiftDragRotate: false, pinchRotate: false }),
      view: new View({
        projection, extent: buffer(this.extent, room / 2), minResolution: CLOSEST_MM_PER_PX,
        showFullExtent: true, constrainOnlyCenter: true, enableRotation: false,
      }),
    });
    addTicks(this.map, data.member.outline, unit);
    this.map.on("pointermove", (event) => {
      under.textContent = this.place(event.coordinate as Point);
    });
  }

  /** Show other blends. */
  draw(blends: DrawnBlend[]): void {
    this.source.clear();
    this.source.addFeatures(blends.flatMap((one) => this.features(one)));
  }

  showWhole(): void {
    this.map.getView().fit(this.extent, { padding: PADDING, size: this.map.getSize() ?? [600, 400] });
  }

  /** Go to some blends. */
  goTo(...blends: DrawnBlend[]): void {
    const extent = createEmpty();
    for (const one of blends) extend(extent, (this.reader.readGeometry(one.outline) as OlGeometry).getExtent());
    if (isEmpty(extent)) return;
    const wide = Math.max(extent[2]! - extent[0]!, extent[3]! - extent[1]!);
    this.map.getView().fit(buffer(extent, wide / (blends.length > 1 ? 8 : 2)), { size: this.map.getSize() ?? [600, 400] });
  }

  restyle(): void {
    for (const layer of this.map.getAllLayers()) layer.changed();
    this.map.updateSize();
    this.map.renderSync();
  }

  close(): void {
    this.map.setTarget(undefined);
    this.map.dispose();
  }

  private place([station, offset]: Point): string {
    const [s, o] = [station, offset].map((mm) => fixed(mm / MM_PER[this.unit], this.unit === "in" ? 2 : 1));
    return `station ${s}, ${this.data.member.offset_is} ${o} ${this.unit}`;
  }

  private features(one: DrawnBlend): Feature[] {
    const shape = (geometry: Geometry): OlGeometry => this.reader.readGeometry(geometry) as OlGeometry;
    const symbol = one.words.slice(0, 1);
    const label = `${one.label} ${symbol}${one.in_the_way > 0 ? " !" : ""}`;
    return [
      new Feature({ geometry: shape(one.outline), part: "outline", face: one.face, verdict: one.verdict }),
      ...(one.floor ? [new Feature({ geometry: shape(one.floor), part: "floor", face: one.face })] : []),
      new Feature({ geometry: new PointGeometry(one.middle), part: "label", label, verdict: one.verdict }),
      ...(one.stop_at ? [new Feature({ geometry: new PointGeometry(one.stop_at), part: "stop" })] : []),
    ];
  }
}

function styleOf(one: Feature): Style | Style[] {
  const part = String(one.get("part"));
  if (part === "label") {
    return new Style({
      zIndex: 3,
      text: new Text({
        text: String(one.get("label")), font: "bold 15px system-ui, 'Noto Sans', 'DejaVu Sans', sans-serif", offsetY: -16, overflow: true,
        fill: new Fill({ color: colour(String(one.get("verdict"))) }), stroke: new Stroke({ color: colour("sheet"), width: 5 }),
      }),
    });
  }
  if (part === "stop") return [cross(5, colour("sheet")), cross(2, colour("focus"))];
  const ink = colour(String(one.get("face")));
  const dash = one.get("face") === "inner" ? { lineDash: INNER_DASH } : {};
  if (part === "floor") return new Style({ stroke: new Stroke({ color: ink, width: 1.5, lineDash: [2, 4] }) });
  return [
    new Style({ fill: new Fill({ color: faint(ink) }), stroke: new Stroke({ color: colour("sheet"), width: 5 }) }),
    new Style({ stroke: new Stroke({ color: ink, width: 2.5, ...dash }) }),
  ];
}

function cross(width: number, ink: string): Style {
  return new Style({
    zIndex: 2,
    image: new RegularShape({ points: 4, radius: 8, radius2: 0, angle: Math.PI / 4, fill: new Fill({ color: "transparent" }), stroke: new Stroke({ color: ink, width }) }),
  });
}

// The style sheet's colours are written as six hexadecimal digits.
function faint(ink: string): string {
  return /^#[0-9a-f]{6}$/i.test(ink) ? `${ink}33` : "transparent";
}
