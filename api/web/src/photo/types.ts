// The parts of the survey file that the photo page edits, and what the service sends with them.
// Lengths are in the structure's unit, pixels in the convention of geometry.ts.
import type { Ellipse, Px } from "../geometry";
import type { Unit } from "../units";

export type MarkKind = "pit" | "blend-out" | "affected" | "clear";
export type Face = "outer" | "inner";

export type Shape =
  | { type: "Polygon"; coordinates: Px[][] }
  | { type: "LineString"; coordinates: Px[] }
  | { type: "Point"; coordinates: Px }
  | { type: "Circle"; center: Px; radius: number }
  | ({ type: "Ellipse" } & Ellipse);

export interface DepthReading {
  value: number;
  u: number;
  method: string;
  instrument?: string | null;
  relation?: string;
  date?: string | null;
  note?: string;
}

/** A shadow along the light, rim to tip. */
export interface ShadowLight {
  kind: "shadow";
  image: [Px, Px];
  light:
    | { kind: "lamp"; elevation_deg: number; u_elevation_deg: number }
    | { kind: "post"; height: number; u_height: number; image: [Px, Px] };
  ends_on?: string;
  [field: string]: unknown;
}

interface FocusSetting {
  readings: number[];
  depth_of_field?: number | null;
  [field: string]: unknown;
}

export interface FocusLight {
  kind: "focus";
  rim: FocusSetting;
  floor: FocusSetting;
  [field: string]: unknown;
}

export type Light = ShadowLight | FocusLight;

export interface RunOut {
  total?: number | null;
  per_side?: number | null;
}

export interface Mark {
  id: string;
  kind: MarkKind;
  shape: Shape;
  feature?: string | null;
  depths?: DepthReading[];
  light?: Light[];
  profile?: string;
  run_out?: RunOut | null;
  measured_from?: string | null;
  date?: string | null;
  sigma_px?: number | null;
  u_edge_px?: number | null;
  note?: string;
}

/** A scale reference of any kind; scales.ts knows what each kind needs. */
export interface ScaleRef {
  kind: string;
  image?: Px[] | null;
  [field: string]: unknown;
}

/** An outline that the service proposes and keeps; no mark before a person accepts it. */
export interface Proposal {
  id: string;
  /** What it is called on its photo: S3. */
  name: string;
  state: "open" | "accepted" | "dropped";
  decision: { by: string; at: string; mark: string | null; edited: boolean } | null;
  kind: "pit" | "blend-out";
  shape: Extract<Shape, { type: "Polygon" }>;
  method: string;
  parameters: Record<string, number | string>;
  score: number;
  u_edge_px: number;
}

/** What a search found. */
export interface Proposals {
  proposals: Proposal[];
  open_before: number;
  dropped_before: number;
}

/** An open proposal on the page, where it goes by its name. */
export interface Suggested extends Pick<Proposal, "kind" | "shape" | "method" | "parameters" | "score" | "u_edge_px"> {
  id: string;
  /** Its identifier in the service. */
  stored: string;
}

/** A reference as the service found it; not stored yet. */
export interface FoundScale {
  scale: ScaleRef;
  found: string;
  points: Px[];
}

/** What a scale reference may be named by. */
export interface ReferenceSizes {
  coins: { name: string; diameter_mm: number; thickness_mm: number; source: string }[];
  sheets: { name: string; title: string }[];
  check_bar_mm: number;
  dictionaries: string[];
}

export interface Placement {
  image: Px[];
  layout: Px[];
  u_layout?: number | null;
  sigma_px?: number | null;
  mirrored?: boolean | null;
}

/** What can be undone, drafted and merged. */
export interface Doc {
  scale: ScaleRef | null;
  placement: Placement | null;
  marks: Mark[];
}

export type Part = keyof Doc;
export const PARTS: readonly Part[] = ["scale", "placement", "marks"];

export interface PhotoPart extends Doc {
  id: string;
  file: string;
  view: string;
  zone: string | null;
  member: string | null;
  face: Face | null;
  station: number | string | null;
  [field: string]: unknown;
}

export interface PhotoRecord {
  id: string;
  version: number;
  survey_id: string;
  upload_name: string;
  photo: PhotoPart;
  picture: {
    sha256: string;
    width: number;
    height: number;
    picture: string;
    preview: string;
    thumbnail: string;
    facts: { warnings?: string[] };
  } | null;
}

export interface Instrument {
  id: string;
  kind: string;
  u_systematic: number;
}

/** What tells one lens profile from another. */
export interface LensName {
  id: string;
  device: string;
  adapter: string;
  [field: string]: unknown;
}

export interface SurveyRecord {
  id: string;
  structure_id: string;
  units: Unit;
  display_units: Unit | null;
  survey: { name: string };
  instruments: Instrument[];
  lenses: LensName[];
}

export interface Member {
  id: string;
  name: string;
  kind: string;
  zone: string;
  outline: Px[];
  offset_is: string;
  outer_view: "offset-up" | "offset-down";
  fasteners: { id: string | null; at: Px; diameter: number }[];
  stations: { label: string; at: number }[];
}

export interface StructureRecord {
  id: string;
  units: Unit;
  structure: { name: string; members: Member[] };
}

export interface MeasuredValue {
  value: number | null;
  u: number | null;
  unit: string;
  flags: string[];
  budget: Record<string, number | null>;
}

export interface MarkMeasures {
  mark: string;
  kind: string;
  quantities: Record<string, MeasuredValue>;
  depth: MeasuredValue | null;
  problem: string | null;
}

export interface PhotoMeasures {
  photo: string;
  scale_kind: string | null;
  scale: Record<string, MeasuredValue>;
  marks: MarkMeasures[];
  totals: Record<string, MeasuredValue>;
  flags: string[];
  problem: string | null;
}

/** The photo on its member's layout, as fitted to its point pairs. */
export interface Placed {
  residuals_mm: Px[];
  rms_mm: number | null;
  marks: { mark: string; position_mm: Px; u_position_mm: Px; flags: string[] }[];
  flags: string[];
  problem: string | null;
}

export const docOf = (photo: PhotoPart): Doc => ({
  scale: photo.scale,
  placement: photo.placement,
  marks: photo.marks,
});
