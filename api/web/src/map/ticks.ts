// Station and offset scales along the member's lower and left edge, in the unit that is shown.
import Feature from "ol/Feature";
import { LineString } from "ol/geom";
import VectorLayer from "ol/layer/Vector";
import VectorSource from "ol/source/Vector";
import { Fill, Stroke, Style, Text } from "ol/style";
import type OlMap from "ol/Map";
import { fixed, MM_PER, type Unit } from "../units";
import type { Point } from "./data";
import { colour } from "./patterns";

const PIXELS_APART = 90;
const TICK_PX = 7;
const MOST = 60;

/** Add scales that follow the zoom. */
export function addTicks(map: OlMap, outline: Point[], unit: Unit): VectorLayer<VectorSource> {
  const source = new VectorSource();
  const layer = new VectorLayer({ source, style: tickStyle });
  map.addLayer(layer);
  map.on("moveend", () => {
    const view = map.getView();
    const [left = 0, low = 0, right = 0, high = 0] = view.calculateExtent(map.getSize());
    const resolution = view.getResolution() ?? 1;
    source.clear();
    source.addFeatures(ticks(outline, unit, resolution, [left, low, right, high]));
  });
  return layer;
}

function ticks(outline: Point[], unit: Unit, resolution: number, seen: [number, number, number, number]): Feature[] {
  const stations = outline.map(([station]) => station);
  const offsets = outline.map(([, offset]) => offset);
  const base: Point = [Math.min(...stations), Math.min(...offsets)];
  const step = niceStep((PIXELS_APART * resolution) / MM_PER[unit]);
  const long = TICK_PX * resolution;
  const along = (from: number, to: number, make: (value: number) => Feature): Feature[] =>
    values(from / MM_PER[unit], to / MM_PER[unit], step).map(make);
  const label = (value: number): string => fixed(value, Math.max(0, -Math.floor(Math.log10(step) + 1e-9)));
  return [
    ...along(Math.max(base[0], seen[0]), Math.min(Math.max(...stations), seen[2]), (value) => {
      const at = value * MM_PER[unit];
      return new Feature({ geometry: new LineString([[at, base[1]], [at, base[1] - long]]), label: label(value), below: true });
    }),
    ...along(Math.max(base[1], seen[1]), Math.min(Math.max(...offsets), seen[3]), (value) => {
      const at = value * MM_PER[unit];
      return new Feature({ geometry: new LineString([[base[0], at], [base[0] - long, at]]), label: label(value) });
    }),
  ];
}

function values(from: number, to: number, step: number): number[] {
  const first = Math.ceil(from / step - 1e-9);
  const last = Math.min(Math.floor(to / step + 1e-9), first + MOST);
  return Array.from({ length: Math.max(0, last - first + 1) }, (_, index) => (first + index) * step);
}

function niceStep(rough: number): number {
  const power = 10 ** Math.floor(Math.log10(rough));
  const lead = rough / power;
  return (lead <= 1 ? 1 : lead <= 2 ? 2 : lead <= 5 ? 5 : 10) * power;
}

function tickStyle(feature: { get(name: string): unknown }): Style {
  const below = Boolean(feature.get("below"));
  return new Style({
    stroke: new Stroke({ color: colour("ink"), width: 1 }),
    text: new Text({
      text: String(feature.get("label")),
      font: "12px system-ui, 'Noto Sans', 'DejaVu Sans', sans-serif",
      textAlign: below ? "center" : "right",
      offsetY: below ? 12 : 0,
      offsetX: below ? 0 : -8,
      overflow: true,
      fill: new Fill({ color: colour("ink") }),
      stroke: new Stroke({ color: colour("sheet"), width: 3 }),
    }),
  });
}
