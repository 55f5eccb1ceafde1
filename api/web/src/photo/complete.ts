// What a part of the work still lacks before the service can take it, in words a person can act on.
import { scaleLacks } from "./scales";
import type { Doc, Part, Placement } from "./types";

export const FEWEST_PAIRS = 2;

export function placementLacks(placement: Placement | null): string | null {
  if (!placement) return null;
  const open = placement.image.findIndex((_, i) => !isPlace(placement.layout[i]));
  if (open >= 0) return `The place on the layout is not saved yet: point ${letter(open)} needs its place there.`;
  const missing = FEWEST_PAIRS - placement.image.length;
  return missing > 0 ? "The place on the layout is not saved yet: it needs two point pairs or more." : null;
}

export const letter = (index: number): string => String.fromCharCode(65 + index);

const isPlace = (place: readonly unknown[] | undefined): boolean =>
  Boolean(place && place.length === 2 && place.every((v) => typeof v === "number" && Number.isFinite(v)));

export function lacksOf(part: Part, doc: Doc): string | null {
  if (part === "scale") return scaleLacks(doc.scale);
  return part === "placement" ? placementLacks(doc.placement) : null;
}
