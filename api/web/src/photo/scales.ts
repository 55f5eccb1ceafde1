// The kinds of scale reference: what to click, what to enter, and what it is good for. A new kind is one
// more entry here; nothing else on the page names a kind.
import { isConvex, type Px } from "../geometry";
import type { ScaleRef } from "./types";

export interface ScaleField {
  key: string;
  label: string;
  help: string;
  /** `length` is in the structure's unit, `angle` in degrees, `number` has no unit, `pair` is two lengths. */
  type: "length" | "angle" | "number" | "pair";
  required: boolean;
  /** Rarely needed; shown on request. */
  more?: boolean;
}

export interface ScaleKind {
  kind: string;
  label: string;
  explain: string;
  /** How many points are clicked. */
  least: number;
  most: number;
  /** What each next click is. */
  steps: readonly string[];
  drawn: "line" | "ring" | "points";
  fields: readonly ScaleField[];
  /** Further data kept per point, such as its place on the surface plane. */
  perPoint?: "plane";
  /** Wrong clicks that can be seen at once, in words. */
  wrong?: (points: Px[]) => string | null;
}

const COMMON: readonly ScaleField[] = [
  {
    key: "height",
    label: "Height above the metal",
    help: "How far the reference stands above the surface you measure, such as its thickness. 0 if flush.",
    type: "length",
    required: false,
    more: true,
  },
  {
    key: "u_height",
    label: "Uncertainty of that height",
    help: "Standard uncertainty (one sigma).",
    type: "length",
    required: false,
    more: true,
  },
];

export const SCALE_KINDS: readonly ScaleKind[] = [
  {
    kind: "bar",
    label: "Two points",
    explain:
      "Two points a known distance apart: two graduations of a steel rule, two rivet centres from the drawing. " +
      "Lay it beside the corrosion, in the same plane. Two points cannot show a slanted view, so state the largest slant.",
    least: 2,
    most: 2,
    steps: ["Click one end of the known distance.", "Click the other end."],
    drawn: "line",
    fields: [
      { key: "length", label: "Distance", help: "Between the two points.", type: "length", required: true },
      {
        key: "u_length",
        label: "Tolerance of the distance",
        help: "Standard uncertainty (one sigma). Left empty it counts as zero, and says so.",
        type: "length",
        required: false,
      },
      {
        key: "max_tilt_deg",
        label: "Largest slant of the view",
        help: "Degrees away from looking straight down, at most. Without it no uncertainty can be given.",
        type: "angle",
        required: false,
      },
      ...COMMON,
    ],
    wrong: (points) => (coincide(points) ? "Both ends are at the same place. Move one end." : null),
  },
  {
    kind: "card",
    label: "Card",
    explain:
      "A flat rectangle of known size lying on the surface; it also shows how slanted the view is. Go round its four corners in order. " +
      "Corners may be rounded: click where the straight edges would meet.",
    least: 4,
    most: 4,
    steps: [
      "Click the first corner, at one end of the first side.",
      "Click the corner at the other end of the first side.",
      "Click the third corner, going on round the card.",
      "Click the last corner.",
    ],
    drawn: "ring",
    fields: [
      {
        key: "size",
        label: "First side × second side",
        help: "Empty: an ID-1 card, 85.60 mm × 53.98 mm, first side long.",
        type: "pair",
        required: false,
      },
      {
        key: "u_size",
        label: "Tolerance of the sides",
        help: "Standard uncertainty (one sigma). Left empty it counts as zero, and says so.",
        type: "length",
        required: false,
      },
      ...COMMON,
    ],
    wrong: (points) =>
      isConvex(points) ? null : "The corners are not in order round the card. Move them, or set the card again.",
  },
  {
    kind: "points",
    label: "Plan points",
    explain:
      "Four or more points whose places on the flat surface are known, for instance rivets from the drawing. " +
      "Spread them round the corrosion, not in one line. Five or more also show a wrongly placed point.",
    least: 4,
    most: 40,
    steps: ["Click a point of known place."],
    drawn: "points",
    perPoint: "plane",
    fields: [
      {
        key: "u_plane",
        label: "Tolerance of a point's place",
        help: "Standard uncertainty (one sigma) of one coordinate.",
        type: "length",
        required: false,
      },
      {
        key: "u_scale",
        label: "Tolerance of the whole, as a share",
        help: "Such as 0.001 for a print that may be 0.1 % too large.",
        type: "number",
        required: false,
      },
      ...COMMON,
    ],
  },
];

function coincide(points: Px[]): boolean {
  const [a, b] = points;
  return Boolean(a && b && a[0] === b[0] && a[1] === b[1]);
}

export function scaleKind(kind: string): ScaleKind | undefined {
  return SCALE_KINDS.find((one) => one.kind === kind);
}

export const imageOf = (scale: ScaleRef | null): Px[] => scale?.image ?? [];

/** What a reference still lacks before it can be saved, in words; null if nothing. */
export function scaleLacks(scale: ScaleRef | null): string | null {
  const kind = scale && scaleKind(scale.kind);
  // Kinds this page does not know come from elsewhere and are complete.
  if (!scale || !kind) return null;
  const points = imageOf(scale);
  if (scale.image && points.length < kind.least) return "The scale reference is not set completely.";
  const wrong = scale.image ? kind.wrong?.(points) : null;
  if (wrong) return wrong;
  const empty = kind.fields.find((one) => one.required && (scale[one.key] ?? null) === null);
  if (empty) return `The scale is not saved yet: enter the ${empty.label.toLowerCase()}.`;
  if (kind.perPoint) {
    const plane = (scale[kind.perPoint] as (Px | null)[] | undefined) ?? [];
    const missing = points.findIndex((_, i) => !isPlace(plane[i]));
    if (missing >= 0) return `The scale is not saved yet: enter where point ${missing + 1} is on the surface.`;
  }
  return null;
}

const isPlace = (place: Px | null | undefined): boolean =>
  Boolean(place && place.every((value) => typeof value === "number" && Number.isFinite(value)));
