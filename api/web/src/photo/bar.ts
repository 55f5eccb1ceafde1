// The bar over the picture: what the next click does, and what can be decided right there.
import { fixed } from "../units";
import { byId } from "./dom";
import type { DrawTool } from "./draw";
import { openPair } from "./panel-place";
import type { Store } from "./store";
import { LOOKS } from "./styles";
import type { Suggestions } from "./suggestions";
import type { Suggested } from "./types";

export function renderBar(store: Store, draw: DrawTool, suggestions: Suggestions, aiming: boolean): void {
  const open = store.panel === "place" ? openPair(store.doc.placement) : -1;
  const waiting = !draw.active && open >= 0;
  const one = toDecide(store, draw, suggestions);
  byId("draw-bar").hidden = !draw.active && !waiting && !one;
  say(waiting ? "Now click the same point on the layout, or type its station and offset." : stepOf(draw, suggestions, one));
  const pointwise = draw.active && !draw.plan?.freehand;
  show("set-point", pointwise && aiming);
  show("finish", pointwise && draw.plan?.least !== draw.plan?.most);
  byId<HTMLButtonElement>("finish").disabled = !draw.canFinish;
  show("take-back", pointwise && draw.plan?.most !== 1);
  byId<HTMLButtonElement>("take-back").disabled = draw.points.length === 0;
  show("drop", draw.active);
  for (const id of ["suggest-accept", "suggest-edit", "suggest-drop"]) show(id, one !== undefined);
  byId("canvas").classList.toggle("drawing", draw.active);
}

/** The suggestion to decide on, unless something else is being drawn. */
function toDecide(store: Store, draw: DrawTool, suggestions: Suggestions): Suggested | undefined {
  const free = store.tool.name === "look" || (store.tool.name === "suggest" && draw.points.length === 0);
  return store.panel === "marks" && free ? suggestions.chosen : undefined;
}

function stepOf(draw: DrawTool, suggestions: Suggestions, one: Suggested | undefined): string {
  if (suggestions.busy && draw.active) return "Looking in the full picture…";
  if (!one) return draw.step;
  const asked = `${one.id}: is this the edge of a ${LOOKS[one.kind].words.toLowerCase()}? Score ${fixed(one.score, 2)}.`;
  return draw.active ? `${asked} Decide, or click the next one.` : asked;
}

function say(words: string): void {
  if (byId("step").textContent !== words) byId("step").textContent = words;
}

function show(id: string, on: boolean): void {
  byId(id).hidden = !on;
}
