// What the service says of a member (api/pages/map_page.py, api/pages/grid.py). Every length in mm.
import type { Unit } from "../units";

export type Face = "outer" | "inner";
export type Point = [number, number];

export interface Geometry {
  type: string;
  coordinates?: unknown;
  geometries?: Geometry[];
}

export interface Limit {
  fraction: number | null;
  depth: number | null;
  source: string;
}

export interface Layout {
  id: string;
  offset_is: string;
  thickness: number;
  outline: Point[];
  limit: Limit | null;
  limit_zones: { id: string; outline: Point[]; limit: Limit }[];
  thickness_zones: { id: string; outline: Point[]; thickness: number }[];
  fasteners: { at: Point; diameter: number }[];
  stations: { label: string; at: number }[];
}

export interface Measured {
  value: number;
  u: number | null;
  U: number | null;
}

export interface Found {
  id: string;
  kind: "pit" | "blend-out" | "affected" | "clear";
  words: string;
  face: Face | null;
  station: string;
  outline: Geometry;
  position: Point | null;
  depth: Measured | null;
  sources: { photo: string; mark: string; address: string }[];
}

export interface Reading {
  id: string;
  at: Point;
  agrees: boolean;
  removed_by_reading: number;
  removed_by_entries: number;
  verdict: string;
}

export interface MapData {
  member: Layout;
  problem: string;
  survey_units?: Unit;
  ramp?: [number, number, number][];
  verdicts?: { class: string; words: string }[];
  photos?: { name: string; address: string; face: Face; footprint: Geometry | null; problem: string | null }[];
  findings?: Found[];
  unseen?: Record<Face, Geometry | null>;
  seen_share?: Record<Face, number | null>;
  readings?: Reading[];
  entries?: { id: string; face: Face; origin: string; outline: Geometry }[];
  cell_error_mm?: number | null;
}

/** Removal over one group of touching entries; row by row from the largest offset down. */
export interface Patch {
  extent: [number, number, number, number];
  columns: number;
  rows: number;
  removed: (number | null)[];
  limit: (number | null)[];
  /** Index into `MapData.verdicts`: within, not determined, too close to call, over. */
  verdict: (number | null)[];
}

export const NOT_DETERMINED = 1;
export const TOO_CLOSE = 2;
export const OVER = 3;

interface Plain {
  value: number;
}

export interface Spot {
  at_mm: Point;
  thickness: Plain;
  removed: Measured;
  removed_by_face: Record<Face, Plain>;
  limit: Plain | null;
  limit_source: string;
  margin: Plain | null;
  remaining: Plain;
  probability_over: number | null;
  verdict: string;
  reason: string;
  ledger: {
    entry: string;
    face: Face;
    origin: string;
    date: string | null;
    measured_from: string;
    depth_here: Plain;
    face_total_after: Plain;
    adds: Plain;
  }[];
}
