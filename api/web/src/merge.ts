// Three-way merge of one photo's work: what both started from, mine, theirs. What only one of the two
// changed is taken; what both changed differently is a conflict that a person decides. Nothing is lost.
import type { Doc, Mark, Placement, ScaleRef } from "./photo/types";

type Item =
  | { part: "scale"; id: "scale"; mine: ScaleRef | null; theirs: ScaleRef | null }
  | { part: "placement"; id: "placement"; mine: Placement | null; theirs: Placement | null }
  | { part: "marks"; id: string; mine: Mark | null; theirs: Mark | null };

/** Something both people changed: null means deleted. */
export type Conflict = Item;
export type Choice = "mine" | "theirs";

export interface Merged {
  /** The merge with every conflict decided as theirs, so that it can be completed by `decide`. */
  doc: Doc;
  conflicts: Conflict[];
  /** What came from them without a conflict, in words: "P7 added". */
  news: string[];
}

/** Whether two documents say the same; a field that is missing and one that is null are the same. */
export function same(a: unknown, b: unknown): boolean {
  if (a === b) return true;
  if (a === null || a === undefined || b === null || b === undefined) return (a ?? null) === (b ?? null);
  if (Array.isArray(a) || Array.isArray(b)) {
    if (!Array.isArray(a) || !Array.isArray(b) || a.length !== b.length) return false;
    return a.every((item, index) => same(item, b[index]));
  }
  if (typeof a !== "object" || typeof b !== "object") return false;
  const [left, right] = [a as Record<string, unknown>, b as Record<string, unknown>];
  const names = new Set([...Object.keys(left), ...Object.keys(right)]);
  return [...names].every((name) => same(left[name], right[name]));
}

/** Merge two people's work on one photo. */
export function merge(base: Doc, mine: Doc, theirs: Doc): Merged {
  const conflicts: Conflict[] = [];
  const news: string[] = [];
  const scale = whole(base.scale, mine.scale, theirs.scale, () => {
    conflicts.push({ part: "scale", id: "scale", mine: mine.scale, theirs: theirs.scale });
  });
  if (!same(theirs.scale, base.scale) && same(mine.scale, base.scale)) news.push("scale changed");
  const placement = whole(base.placement, mine.placement, theirs.placement, () => {
    conflicts.push({
      part: "placement",
      id: "placement",
      mine: mine.placement,
      theirs: theirs.placement,
    });
  });
  if (!same(theirs.placement, base.placement) && same(mine.placement, base.placement)) {
    news.push("place on the layout changed");
  }
  const marks = mergeMarks(base.marks, mine.marks, theirs.marks, conflicts, news);
  return { doc: { scale, placement, marks }, conflicts, news };
}

function whole<T>(base: T, mine: T, theirs: T, clash: () => void): T {
  if (same(mine, base) || same(mine, theirs)) return theirs;
  if (same(theirs, base)) return mine;
  clash();
  return theirs;
}

function mergeMarks(
  base: Mark[],
  mine: Mark[],
  theirs: Mark[],
  conflicts: Conflict[],
  news: string[],
): Mark[] {
  const [was, my, their] = [byId(base), byId(mine), byId(theirs)];
  const merged: Mark[] = [];
  const late: Mark[] = [];
  for (const id of new Set([...theirs, ...mine, ...base].map((mark) => mark.id))) {
    const [b, m, t] = [was.get(id) ?? null, my.get(id) ?? null, their.get(id) ?? null];
    if (same(m, b) || same(m, t)) {
      if (t) merged.push(t);
      if (!same(t, b) && !same(m, t)) news.push(`${id} ${!t ? "deleted" : b ? "changed" : "added"}`);
    } else if (same(t, b)) {
      if (m) merged.push(m);
    } else if (!b && m && t) {
      // Both drew something new and it happened to get the same name: they are two marks.
      merged.push(t);
      late.push(m);
      news.push(`${id} added`);
    } else {
      if (t) merged.push(t);
      conflicts.push({ part: "marks", id, mine: m, theirs: t });
    }
  }
  for (const mark of late) merged.push({ ...mark, id: freeId(mark.id, merged) });
  return merged;
}

const byId = (marks: Mark[]): Map<string, Mark> => new Map(marks.map((mark) => [mark.id, mark]));

/** The next id of the same letters that no mark has: P3 after P1 and P2. */
export function freeId(like: string, marks: readonly { id: string }[]): string {
  const letters = like.replace(/\d+$/, "") || "M";
  const taken = new Set(marks.map((mark) => mark.id));
  for (let number = 1; ; number += 1) {
    if (!taken.has(`${letters}${number}`)) return `${letters}${number}`;
  }
}

/** Complete a merge by a person's choices; what is not named stays theirs. */
export function decide(merged: Merged, choices: ReadonlyMap<string, Choice>): Doc {
  let doc = merged.doc;
  for (const conflict of merged.conflicts) {
    if (choices.get(conflict.id) !== "mine") continue;
    if (conflict.part === "scale") doc = { ...doc, scale: conflict.mine };
    else if (conflict.part === "placement") doc = { ...doc, placement: conflict.mine };
    else doc = { ...doc, marks: withMark(doc.marks, conflict.id, conflict.mine) };
  }
  return doc;
}

function withMark(marks: Mark[], id: string, mark: Mark | null): Mark[] {
  const at = marks.findIndex((one) => one.id === id);
  if (!mark) return marks.filter((one) => one.id !== id);
  return at < 0 ? [...marks, mark] : marks.map((one, index) => (index === at ? mark : one));
}
