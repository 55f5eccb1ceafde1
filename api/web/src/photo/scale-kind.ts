// What describes a kind of scale reference, and what several kinds share.
import type { Px } from "../geometry";
import type { Unit } from "../units";
import type { ReferenceSizes, ScaleRef } from "./types";

export interface ScaleField {
  key: string;
  label: string;
  help: string | ((scale: ScaleRef, sizes: ReferenceSizes | null, unit: Unit) => string);
  /**
   * `length` is in the structure's unit, `angle` in degrees, `number` has no unit, `pair` is two lengths,
   * `ends` the readings at both ends of a line, `choice` one of `options`.
   */
  type: "length" | "angle" | "number" | "pair" | "ends" | "choice";
  required: boolean;
  /** Rarely needed; shown on request. */
  more?: boolean;
  /** Asked for only then. */
  when?: (scale: ScaleRef) => boolean;
  options?: (sizes: ReferenceSizes | null) => readonly (readonly [string, string])[];
  /** Where the value is kept, if not under `key`. */
  get?: (scale: ScaleRef) => unknown;
  set?: (scale: ScaleRef, value: unknown) => ScaleRef;
  /** What an emptied field means; null if nothing is stated. */
  empty?: 0;
}

/** One way to set a kind's points. */
export interface Way {
  key: string;
  label: string;
  /** How many points are clicked. */
  least: number;
  most: number;
  /** What each next click is. */
  steps: readonly string[];
  drawn: "line" | "ring" | "points" | "edges";
  /** The field that takes them. */
  into: "image" | "seed" | "far" | "edges";
  /** Adds to a reference that is there. */
  adds?: boolean;
}

export interface ScaleKind {
  kind: string;
  label: string;
  explain: string;
  /** The first is the usual one; none where nothing has to be clicked. */
  ways: readonly Way[];
  fields: readonly ScaleField[];
  /** Further data kept per point, such as its place on the surface plane. */
  perPoint?: "plane";
  /** Wrong clicks that can be seen at once, in words. */
  wrong?: (points: Px[]) => string | null;
  /** What the program finds in the picture by itself, and where it puts it. */
  finds?: { what: string; into: readonly string[]; alone?: boolean };
}

export const COMMON: readonly ScaleField[] = [
  {
    key: "height",
    label: "Height above the metal",
    help: "How far the reference stands above the surface you measure, such as its thickness. 0 if flush.",
    type: "length",
    required: false,
    empty: 0,
    more: true,
  },
  {
    key: "u_height",
    label: "Uncertainty of that height",
    help: "Standard uncertainty (one sigma).",
    type: "length",
    required: false,
    empty: 0,
    more: true,
  },
];
export const SLANT: ScaleField = {
  key: "max_tilt_deg",
  label: "Largest slant of the view",
  help: "Degrees away from looking straight down, at most.",
  type: "angle",
  required: false,
};
export const U_SCALE: ScaleField = {
  key: "u_scale",
  label: "Tolerance of the whole, as a share",
  help: "Such as 0.001 for a print that may be 0.1 % too large.",
  type: "number",
  required: false,
};

/** Two ends at one place. */
export function bothEnds(points: Px[]): string | null {
  const [a, b] = points;
  const coincide = a && b && a[0] === b[0] && a[1] === b[1];
  return coincide ? "Both ends are at the same place. Move one end." : null;
}
