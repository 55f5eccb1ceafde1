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
  verdict?: string;
  reasons?: string[];
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
  /** In units of STEP_MM; -1 off the member. */
  removed: number[];
  /** In mm, null where none is set; one value alone where it is the same all over. */
  limit: number | null | (number | null)[];
  /** A digit a cell, an index into `MapData.verdicts`; "-" off the member. */
  verdict: string;
}

export const STEP_MM = 1e-5;

/** The limit at a cell, mm. */
export function limitAt(patch: Patch, index: number): number | null {
  return Array.isArray(patch.limit) ? (patch.limit[index] ?? null) : patch.limit;
}

/** The removal at a cell, mm; 0 off the member. */
export function removedAt(patch: Patch, index: number): number {
  return Math.max(0, patch.removed[index] ?? 0) * STEP_MM;
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
