// What the page knows of a scale reference, whatever its kind: its points, what it lacks, what was found.
import type { Px } from "../geometry";
import type { ScaleField, ScaleKind, Way } from "./scale-kind";
import { SCALE_KINDS } from "./scale-kinds";
import type { ScaleRef } from "./types";

export function scaleKind(kind: string): ScaleKind | undefined {
  return SCALE_KINDS.find((one) => one.kind === kind);
}

export const imageOf = (scale: ScaleRef | null): Px[] => scale?.image ?? [];

const seedOf = (scale: ScaleRef): Px | null => (scale["seed"] as Px | null | undefined) ?? null;
const farOf = (scale: ScaleRef): Px | null => (scale["far"] as Px | null | undefined) ?? null;
const edgesOf = (scale: ScaleRef): Px[][] | null => (scale["edges"] as Px[][] | null | undefined) ?? null;

/** A kind's way by its key; the usual one where there is none of that key. */
export function wayNamed(kind: ScaleKind | undefined, key: string | undefined): Way | undefined {
  return kind?.ways.find((way) => way.key === key) ?? kind?.ways[0];
}

/** The way a reference was set. */
export function wayOf(scale: ScaleRef): Way | undefined {
  const kind = scaleKind(scale.kind);
  const into = edgesOf(scale) ? "edges" : seedOf(scale) ? "seed" : "image";
  return kind?.ways.find((way) => way.into === into) ?? kind?.ways[0];
}

/** The points that a person set and may drag, in order. */
export function handlesOf(scale: ScaleRef | null): Px[] {
  if (!scale) return [];
  const far = farOf(scale);
  return [...setPoints(scale), ...(far ? [far] : [])];
}

function setPoints(scale: ScaleRef): Px[] {
  const seed = seedOf(scale);
  if (seed) return [seed];
  if (scaleKind(scale.kind)?.finds?.alone) return [];
  return edgesOf(scale)?.flat() ?? imageOf(scale);
}

/** The reference with its points moved. What was found from the old ones no longer holds and is dropped. */
export function withHandles(scale: ScaleRef, points: readonly Px[]): ScaleRef {
  const before = setPoints(scale);
  const now = points.slice(0, before.length);
  const moved = now.some((p, i) => p[0] !== before[i]?.[0] || p[1] !== before[i]?.[1]);
  const base = moved ? withoutFound(scale) : { ...scale };
  if (farOf(scale)) base["far"] = points[before.length];
  const edges = edgesOf(scale);
  if (seedOf(scale)) base["seed"] = now[0];
  else if (edges) base["edges"] = regrouped(edges, now);
  else if (!scaleKind(scale.kind)?.finds?.alone) base.image = now;
  return base;
}

function regrouped(edges: readonly Px[][], points: readonly Px[]): Px[][] {
  let start = 0;
  return edges.map((edge) => points.slice(start, (start += edge.length)));
}

/** Points that the program found in the picture, as lines to draw. */
export function foundLines(scale: ScaleRef): Px[][] {
  const ticks = (scale["ticks"] as { points: Px[] }[] | undefined) ?? [];
  if (ticks.length > 0) return ticks.map((tick) => tick.points);
  return isFound(scale) ? imageOf(scale).map((p) => [p]) : [];
}

/** Whether the program looks for this reference in the picture, as it was set. */
export function canFind(scale: ScaleRef): boolean {
  const { finds } = scaleKind(scale.kind) ?? {};
  return Boolean(finds && (scale.kind !== "disc" || seedOf(scale)));
}

export function isFound(scale: ScaleRef): boolean {
  const first = scaleKind(scale.kind)?.finds?.into[0];
  return canFind(scale) && Boolean(first) && ((scale[first as string] as unknown[] | undefined) ?? []).length > 0;
}

function withoutFound(scale: ScaleRef): ScaleRef {
  const bare = { ...scale };
  if (canFind(scale)) for (const key of scaleKind(scale.kind)?.finds?.into ?? []) delete bare[key];
  return bare;
}

/** A fresh reference of a kind; what was known of an earlier one of the kind is kept. */
export function newScale(kind: string, wayKey: string | undefined, points: Px[], before: ScaleRef | null): ScaleRef {
  const known = scaleKind(kind);
  const way = wayNamed(known, wayKey);
  const old = before?.kind === kind ? before : null;
  if (way?.adds && old) return { ...old, [way.into]: points[0] };
  const made: ScaleRef = { ...(old ? withoutFound(old) : {}), kind };
  for (const key of ["image", "edges", "seed"]) delete made[key];
  if (way?.into === "seed") made["seed"] = points[0];
  else if (way?.into === "edges") made["edges"] = [0, 2, 4, 6].map((i) => points.slice(i, i + 2));
  else if (way) made.image = points;
  if (known?.perPoint) {
    const places = (old?.[known.perPoint] as Px[] | undefined) ?? [];
    made[known.perPoint] = points.map((_, i) => places[i] ?? [null, null]);
  }
  return made;
}

export const valueOf = (scale: ScaleRef, field: ScaleField): unknown =>
  field.get ? field.get(scale) : scale[field.key];

export const withValue = (scale: ScaleRef, field: ScaleField, value: unknown): ScaleRef =>
  field.set ? field.set(scale, value) : { ...scale, [field.key]: value };

export const fieldsOf = (kind: ScaleKind, scale: ScaleRef): ScaleField[] =>
  kind.fields.filter((one) => !one.when || one.when(scale));

/** What a reference still lacks before it can be saved, in words; null if nothing. */
export function scaleLacks(scale: ScaleRef | null): string | null {
  const kind = scale && scaleKind(scale.kind);
  // Kinds this page does not know come from elsewhere and are complete.
  if (!scale || !kind) return null;
  const points = setPoints(scale);
  const way = wayOf(scale);
  if (way && points.length < way.least) return "The scale reference is not set completely.";
  const wrong = way?.into === "image" ? kind.wrong?.(points) : null;
  if (wrong) return wrong;
  const empty = fieldsOf(kind, scale).find((one) => one.required && (valueOf(scale, one) ?? null) === null);
  if (empty) return `The scale is not saved yet: enter the ${lower(empty.label)}.`;
  const ends = scale["labels"] as (number | null)[] | null | undefined;
  if (ends?.some((end) => end === null)) return "The scale is not saved yet: enter what the rule reads at the other end.";
  return kind.perPoint ? placesLack(scale, kind.perPoint, points.length) : null;
}

function placesLack(scale: ScaleRef, key: string, count: number): string | null {
  const places = (scale[key] as (Px | null)[] | undefined) ?? [];
  const missing = Array.from({ length: count }, (_, i) => i).findIndex((i) => !isPlace(places[i]));
  return missing < 0 ? null : `The scale is not saved yet: enter where point ${missing + 1} is on the surface.`;
}

const lower = (text: string): string => text.charAt(0).toLowerCase() + text.slice(1);

const isPlace = (place: Px | null | undefined): boolean =>
  Boolean(place && place.every((value) => typeof value === "number" && Number.isFinite(value)));
