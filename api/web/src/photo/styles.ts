// How marks look on the picture: a coloured line with its own dash and a letter, between dark and light
// edges so that it stands out on bright metal and in shadow. Colour never says anything alone.
import type { FeatureLike } from "ol/Feature";
import Point from "ol/geom/Point";
import CircleStyle from "ol/style/Circle";
import Fill from "ol/style/Fill";
import RegularShape from "ol/style/RegularShape";
import Stroke from "ol/style/Stroke";
import Style from "ol/style/Style";
import Text from "ol/style/Text";
import type { MarkKind } from "./types";

interface Look {
  color: string;
  dash: number[];
  words: string;
  letter: string;
}

// Okabe and Ito's palette (2008), told apart by people with any common colour blindness.
export const LOOKS: Record<MarkKind, Look> = {
  pit: { color: "#e69f00", dash: [], words: "Pit", letter: "P" },
  "blend-out": { color: "#56b4e9", dash: [12, 5], words: "Blend-out", letter: "B" },
  affected: { color: "#e58ac0", dash: [3, 5], words: "Affected area", letter: "A" },
  clear: { color: "#3ddc97", dash: [14, 5, 3, 5], words: "Clear area", letter: "C" },
};
export const REFERENCE_COLOR = "#f5ee6b";
/** What the program found and nobody has taken yet. */
export const FOUND_COLOR = "#ff4fd8";
const FONT = '600 14px system-ui, "Segoe UI", "Noto Sans", "DejaVu Sans", sans-serif';
const DARK = "rgba(8, 14, 20, 0.85)";
const HANDLE_RADIUS = 8;
/** Corners of a mark; small pits would vanish under larger ones. Their reach is larger than their look. */
export const CORNER_RADIUS = 5;

export function markStyles(kind: MarkKind, id: string, selected: boolean): Style[] {
  return outlineStyles(LOOKS[kind].color, selected ? [] : LOOKS[kind].dash, id, selected);
}

/** An outline that nobody has accepted yet: its own colour, dashed, with a question mark. */
export const proposalStyles = (text: string, current: boolean): Style[] =>
  outlineStyles(FOUND_COLOR, [6, 6], text, current);

function outlineStyles(color: string, lineDash: number[], text: string, selected: boolean): Style[] {
  const width = selected ? 3.5 : 2.25;
  return [
    new Style({ stroke: new Stroke({ color: DARK, width: width + 2.5 }), zIndex: selected ? 20 : 10 }),
    new Style({
      stroke: new Stroke({ color, width, lineDash }),
      fill: new Fill({ color: selected ? `${color}2e` : "rgba(0, 0, 0, 0.001)" }),
      zIndex: selected ? 21 : 11,
    }),
    // Above the outline, so that the name does not hide what it names.
    new Style({
      geometry: topOf,
      zIndex: 22,
      text: new Text({
        text,
        font: FONT,
        offsetY: -12,
        fill: new Fill({ color }),
        stroke: new Stroke({ color: DARK, width: 4 }),
      }),
    }),
  ];
}

function topOf(feature: FeatureLike): Point | undefined {
  const extent = feature.getGeometry()?.getExtent();
  return extent && new Point([((extent[0] ?? 0) + (extent[2] ?? 0)) / 2, extent[3] ?? 0]);
}

/** Lines of the scale reference and of point pairs. */
export function lineStyles(color: string, width = 2): Style[] {
  return [
    new Style({ stroke: new Stroke({ color: DARK, width: width + 2.5 }), zIndex: 30 }),
    new Style({ stroke: new Stroke({ color, width }), zIndex: 31 }),
  ];
}

// Hollow, so that the place it marks can be seen inside it.
export const handleImage = (color: string, radius = HANDLE_RADIUS): CircleStyle =>
  new CircleStyle({
    radius,
    fill: new Fill({ color: "rgba(255, 255, 255, 0.15)" }),
    stroke: new Stroke({ color, width: 2.5 }),
  });

const crossImage = (color: string, width: number): RegularShape =>
  new RegularShape({ points: 4, radius: 9, radius2: 0, angle: 0, stroke: new Stroke({ color, width }) });

/** One of many small points. */
export const dotStyles = (color: string): Style =>
  new Style({
    image: new CircleStyle({ radius: 2.5, fill: new Fill({ color }), stroke: new Stroke({ color: DARK, width: 1 }) }),
    zIndex: 32,
  });

/** A numbered point: a thin cross in a ring. */
export function pointStyles(color: string, text: string): Style[] {
  return [
    new Style({ image: crossImage(DARK, 4), zIndex: 40 }),
    new Style({ image: crossImage(color, 1.5), zIndex: 41 }),
    new Style({
      image: handleImage(color),
      zIndex: 42,
      text: new Text({
        text,
        font: FONT,
        offsetX: 16,
        offsetY: -14,
        fill: new Fill({ color }),
        stroke: new Stroke({ color: DARK, width: 4 }),
      }),
    }),
  ];
}
