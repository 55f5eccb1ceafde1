// The member and what was put on it, as vector layers. Shape and line say what a thing is; colour repeats it.
import Feature from "ol/Feature";
import GeoJSON from "ol/format/GeoJSON";
import { Circle as CircleGeometry, type Geometry as OlGeometry, LineString, Point as PointGeometry, Polygon } from "ol/geom";
import VectorImageLayer from "ol/layer/VectorImage";
import type Projection from "ol/proj/Projection";
import VectorSource from "ol/source/Vector";
import { Circle, Fill, RegularShape, Stroke, Style, Text } from "ol/style";
import type { Face, Found, Geometry, MapData, Point } from "./data";
import { colour, unseenPattern } from "./patterns";

export type LayerName = "member" | "unseen" | "zones" | "photos" | "stations" | "fasteners" | "findings";
// Drawn once for a view and moved as a picture meanwhile: a thousand marks must not make panning jerk.
export type Layers = Record<LayerName, VectorImageLayer<VectorSource>>;

const FONT = "13px system-ui, 'Noto Sans', 'DejaVu Sans', sans-serif";
// Ids beside every mark would cover the map when it shows the whole member.
const LABELS_BELOW_MM_PER_PX = 0.9;
const ACROSS_FACES: Record<Face, number[] | undefined> = { outer: undefined, inner: [7, 4] };

/** Build all vector layers of a member, bottom first. */
export function buildLayers(data: MapData, projection: Projection): Layers {
  const reader = new GeoJSON({ dataProjection: projection, featureProjection: projection });
  const shape = (geometry: Geometry): OlGeometry => reader.readGeometry(geometry) as OlGeometry;
  const { member } = data;
  const ring = (points: Point[]): Polygon => new Polygon([[...points, points[0] ?? [0, 0]]]);
  return {
    member: layer([feature(ring(member.outline), {})], () =>
      new Style({ fill: new Fill({ color: colour("metal") }), stroke: new Stroke({ color: colour("ink"), width: 2 }) })),
    unseen: layer(unseenFeatures(data, shape), (one) =>
      new Style({ fill: new Fill({ color: unseenPattern(faceOf(one) ?? "outer") }) })),
    zones: layer(zoneFeatures(data, ring), zoneStyle),
    photos: layer(
      (data.photos ?? []).flatMap((photo) => photo.footprint ? [feature(shape(photo.footprint), { face: photo.face, label: photo.name })] : []),
      photoStyle),
    stations: layer(stationFeatures(data), stationStyle),
    fasteners: layer(
      member.fasteners.map((one) => feature(new CircleGeometry(one.at, one.diameter / 2), {})), fastenerStyle),
    findings: layer([...entryFeatures(data, shape), ...findingFeatures(data, shape), ...readingFeatures(data)], findingStyle),
  };
}

/** Show only what belongs to a face; null shows both. */
export function filterFace(layers: Layers, face: Face | null): void {
  for (const name of ["unseen", "photos", "findings"] as const) {
    for (const one of layers[name].getSource()?.getFeatures() ?? []) {
      const own = faceOf(one);
      one.set("hidden", face !== null && own !== null && own !== face);
    }
    layers[name].changed();
  }
}

/** The findings and records under a place, as ids. */
export function foundAt(layers: Layers, at: Point): string[] {
  const source = layers.findings.getSource();
  const hits = source?.getFeaturesAtCoordinate(at).filter((one) => !one.get("hidden")) ?? [];
  return hits.map((one) => String(one.get("finding") ?? "")).filter(Boolean);
}

function faceOf(one: Feature): Face | null {
  return (one.get("face") as Face | undefined) ?? null;
}

function feature(geometry: OlGeometry, values: Record<string, unknown>): Feature {
  return new Feature({ geometry, ...values });
}

function layer(
  features: Feature[],
  style: (one: Feature, resolution: number) => Style | Style[],
): VectorImageLayer<VectorSource> {
  return new VectorImageLayer({
    source: new VectorSource({ features }),
    style: (one, resolution) => (one.get("hidden") ? undefined : style(one as Feature, resolution)),
    imageRatio: 1.4,
  });
}

function unseenFeatures(data: MapData, shape: (geometry: Geometry) => OlGeometry): Feature[] {
  const faces: Face[] = ["outer", "inner"];
  return faces.flatMap((face) => {
    const area = data.unseen?.[face];
    return area ? [feature(shape(area), { face })] : [];
  });
}

function zoneFeatures({ member }: MapData, ring: (points: Point[]) => Polygon): Feature[] {
  return [
    ...member.limit_zones.map((zone) => feature(ring(zone.outline), { label: `limit ${zone.id}`, limit: true })),
    ...member.thickness_zones.map((zone) => feature(ring(zone.outline), { label: `thickness ${zone.id}` })),
  ];
}

function stationFeatures({ member }: MapData): Feature[] {
  const offsets = member.outline.map(([, offset]) => offset);
  const [low, high] = [Math.min(...offsets), Math.max(...offsets)];
  return member.stations.map((one) =>
    feature(new LineString([[one.at, low], [one.at, high]]), { label: one.label }));
}

function findingFeatures(data: MapData, shape: (geometry: Geometry) => OlGeometry): Feature[] {
  return (data.findings ?? []).map((one) =>
    feature(shape(one.outline), { finding: one.id, kind: one.kind, face: one.face, label: one.id, position: one.position }));
}

function entryFeatures(data: MapData, shape: (geometry: Geometry) => OlGeometry): Feature[] {
  const records = (data.entries ?? []).filter((one) => one.origin !== "survey");
  return records.map((one) => feature(shape(one.outline), { kind: one.origin, face: one.face, label: one.id }));
}

function readingFeatures(data: MapData): Feature[] {
  return (data.readings ?? []).map((one) =>
    feature(new PointGeometry(one.at), { kind: "reading", label: one.agrees ? one.id : `${one.id} ! ${one.verdict}` }));
}

function words(text: string, shift: [number, number] = [0, 0]): Text {
  return new Text({
    text, font: FONT, offsetX: shift[0], offsetY: shift[1], overflow: true,
    fill: new Fill({ color: colour("ink") }),
    stroke: new Stroke({ color: colour("sheet"), width: 4 }),
  });
}

function zoneStyle(one: Feature, resolution: number): Style {
  const named = resolution < LABELS_BELOW_MM_PER_PX;
  return new Style({
    stroke: new Stroke({ color: colour("quiet"), width: 1.5, lineDash: one.get("limit") ? [2, 5] : [10, 3, 2, 3] }),
    ...(named ? { text: words(String(one.get("label"))) } : {}),
  });
}

function photoStyle(one: Feature, resolution: number): Style {
  const face = faceOf(one) ?? "outer";
  return new Style({
    stroke: new Stroke({ color: colour(face), width: 1.5, lineDash: ACROSS_FACES[face] ?? [1, 0] }),
    ...(resolution < LABELS_BELOW_MM_PER_PX
      ? { text: new Text({ text: `photo ${String(one.get("label"))}`, font: FONT, placement: "line", textBaseline: "top",
          fill: new Fill({ color: colour(face) }), stroke: new Stroke({ color: colour("sheet"), width: 4 }) }) }
      : {}),
  });
}

function stationStyle(one: Feature): Style[] {
  const line = one.getGeometry() as LineString;
  return [
    new Style({ stroke: new Stroke({ color: colour("edge"), width: 1, lineDash: [12, 4] }) }),
    new Style({ geometry: new PointGeometry(line.getLastCoordinate()), text: words(String(one.get("label")), [0, -12]) }),
  ];
}

function fastenerStyle(one: Feature, resolution: number): Style {
  const circle = one.getGeometry() as CircleGeometry;
  return new Style({
    geometry: new PointGeometry(circle.getCenter()),
    image: new Circle({
      radius: Math.max(2, circle.getRadius() / resolution),
      stroke: new Stroke({ color: colour("ink"), width: 1.2 }),
      fill: new Fill({ color: colour("sheet") }),
    }),
  });
}

/** Line and symbol of every kind of mark; the legend draws the same. */
export const SYMBOLS: Record<string, { points: number; radius: number; angle: number; width: number; filled: boolean }> = {
  pit: { points: 3, radius: 7, angle: Math.PI, width: 1.8, filled: true },
  "blend-out": { points: 32, radius: 6, angle: 0, width: 2.4, filled: false },
  affected: { points: 4, radius: 7, angle: Math.PI / 4, width: 1.5, filled: false },
  clear: { points: 3, radius: 7, angle: 0, width: 1.2, filled: false },
  earlier: { points: 5, radius: 7, angle: 0, width: 2, filled: false },
  planned: { points: 6, radius: 7, angle: 0, width: 2, filled: false },
  reading: { points: 4, radius: 6, angle: 0, width: 1.8, filled: true },
};

function findingStyle(one: Feature, resolution: number): Style[] {
  const kind = String(one.get("kind"));
  const face = faceOf(one);
  const symbol = SYMBOLS[kind] ?? SYMBOLS.affected;
  if (symbol === undefined) return [];
  const ink = face ? colour(face) : colour("ink");
  const stroke = new Stroke({ color: ink, width: symbol.width, ...(face && ACROSS_FACES[face] ? { lineDash: ACROSS_FACES[face] } : {}) });
  const geometry = one.getGeometry();
  const extent = geometry?.getExtent() ?? [0, 0, 0, 0];
  const middle = (one.get("position") as Point | null) ?? [((extent[0] ?? 0) + (extent[2] ?? 0)) / 2, ((extent[1] ?? 0) + (extent[3] ?? 0)) / 2];
  const pixels = ((extent[2] ?? 0) - (extent[0] ?? 0)) / resolution;
  const styles = [new Style({ stroke: new Stroke({ color: colour("sheet"), width: symbol.width + 2 }) }), new Style({ stroke })];
  // A mark that shows its own shape needs no symbol on top of what it shows.
  const image = pixels < 24 ? { image: symbolImage(symbol, ink) } : {};
  styles.push(new Style({ geometry: new PointGeometry(middle), ...image }));
  if (resolution < LABELS_BELOW_MM_PER_PX) styles.push(label(one, kind === "reading" ? null : extent, middle));
  return styles;
}

// Under an outline, beside a reading: the two often share one place.
function label(one: Feature, extent: number[] | null, middle: Point): Style {
  const text = words(String(one.get("label")), extent ? [0, 14] : [12, 0]);
  if (!extent) text.setTextAlign("left");
  return new Style({ geometry: new PointGeometry(extent ? [middle[0], extent[1] ?? middle[1]] : middle), text });
}

function symbolImage(symbol: (typeof SYMBOLS)[string], ink: string): RegularShape {
  return new RegularShape({
    points: symbol.points, radius: symbol.radius, angle: symbol.angle,
    fill: new Fill({ color: symbol.filled ? ink : colour("sheet") }),
    stroke: new Stroke({ color: symbol.filled ? colour("sheet") : ink, width: symbol.filled ? 1.2 : 2 }),
  });
}

/** Where a finding lies, for zooming to it. */
export function placeOf(data: MapData, id: string): Found | undefined {
  return data.findings?.find((one) => one.id === id);
}
