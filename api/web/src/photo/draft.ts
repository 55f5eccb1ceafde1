// Work that the service does not have yet, kept on this device so that a reload loses nothing.
import type { Px } from "../geometry";
import type { Tool } from "./store";
import type { Doc } from "./types";

export interface Draft {
  /** What the work started from, for a three-way merge with what is stored by then. */
  base: Doc;
  mine: Doc;
  savedAt: string;
}

const key = (photo: string): string => `corrosion.draft.${photo}`;

/** Keep a draft. False if the device refuses: then the person has to be told. */
export function keepDraft(photo: string, base: Doc, mine: Doc): boolean {
  const draft: Draft = { base, mine, savedAt: new Date().toISOString() };
  try {
    localStorage.setItem(key(photo), JSON.stringify(draft));
    return true;
  } catch {
    return false;
  }
}

export function readDraft(photo: string): Draft | null {
  try {
    const text = localStorage.getItem(key(photo));
    const draft = text ? (JSON.parse(text) as Draft) : null;
    return draft && Array.isArray(draft.mine?.marks) && Array.isArray(draft.base?.marks) ? draft : null;
  } catch {
    return null;
  }
}

export function dropDraft(photo: string): void {
  try {
    localStorage.removeItem(key(photo));
  } catch {
    // Nothing was kept then.
  }
}

/** An outline that is not finished yet; of this tab only, another tab draws its own. */
export interface Sketch {
  tool: Tool;
  points: Px[];
}

const sketchKey = (photo: string): string => `corrosion.sketch.${photo}`;

export function keepSketch(photo: string, sketch: Sketch | null): void {
  try {
    if (sketch) sessionStorage.setItem(sketchKey(photo), JSON.stringify(sketch));
    else sessionStorage.removeItem(sketchKey(photo));
  } catch {
    // A few clicks are lost at worst; what was finished is in the draft.
  }
}

export function readSketch(photo: string): Sketch | null {
  try {
    const text = sessionStorage.getItem(sketchKey(photo));
    const sketch = text ? (JSON.parse(text) as Sketch) : null;
    return sketch && Array.isArray(sketch.points) && sketch.points.length > 0 ? sketch : null;
  } catch {
    return null;
  }
}
