// How well the photo lies on the layout: what each point pair misses by, and where the marks came to lie.
import type { Px } from "../geometry";
import { convert, K, showLength, showMeasured, type Unit } from "../units";
import { letter } from "./complete";
import { h } from "./dom";
import type { Measures } from "./measures";
import type { Placed } from "./types";

// Pairs are clicked to a few tenths of a millimetre at best; more digits would only look exact.
const MISFIT_DECIMALS: Record<Unit, number> = { mm: 2, in: 3 };

const miss = (mm: number, unit: Unit): string => showLength(mm, unit, MISFIT_DECIMALS[unit]);
const size = ([along, across]: Px): number => Math.hypot(along, across);

/** The fit as the service computed it, if it belongs to the pairs that are shown. */
export function placedNow(measures: Measures, pairs: number): Placed | null {
  const { placed } = measures;
  return placed && (placed.residuals_mm.length === 0 || placed.residuals_mm.length === pairs) ? placed : null;
}

/** The pair that misses by most, -1 where nothing is missed or nothing can be told. */
export function worstOf(placed: Placed): number {
  const sizes = placed.residuals_mm.map(size);
  const largest = Math.max(0, ...sizes);
  return largest > 0 ? sizes.indexOf(largest) : -1;
}

/** What one pair misses by, in words; null where the fit tells nothing. */
export function missOf(placed: Placed, index: number, unit: Unit): HTMLElement | null {
  const off = placed.residuals_mm[index];
  if (!off) return null;
  const worst = worstOf(placed) === index;
  const words = `misses by ${miss(size(off), unit)} (station ${miss(off[0], unit)}, offset ${miss(off[1], unit)})`;
  return h("p", { class: `miss${worst ? " worst" : ""}` }, worst ? h("strong", {}, "▲ Worst: ") : null, words);
}

/** The fit as a whole: its misfit, its doubts, where the marks are. */
export function fitSection(placed: Placed, measures: Measures, unit: Unit): HTMLElement {
  const worst = worstOf(placed);
  return h(
    "section",
    { class: measures.busy ? "busy" : null },
    h("h3", {}, "How it fits"),
    placed.problem ? h("p", { class: "notice problem" }, placed.problem) : null,
    placed.rms_mm === null ? null : h("p", { "data-key": "misfit" }, summary(placed.rms_mm, worst, unit)),
    measures.doubts(placed.flags),
    placed.marks.length > 0 ? positions(placed, unit) : null,
  );
}

function summary(rms: number, worst: number, unit: Unit): string {
  const whole = `The points miss by ${miss(rms, unit)} (root mean square).`;
  return worst < 0 ? whole : `${whole} Point ${letter(worst)} misses most: check it first.`;
}

function positions(placed: Placed, unit: Unit): HTMLElement {
  const place = (mark: Placed["marks"][number], axis: 0 | 1): string =>
    showMeasured(convert(mark.position_mm[axis], "mm", unit), convert(mark.u_position_mm[axis], "mm", unit), unit);
  const rows = placed.marks.map((mark) =>
    h("tr", {}, h("th", { scope: "row" }, mark.mark), h("td", {}, place(mark, 0)), h("td", {}, place(mark, 1))),
  );
  return h(
    "table",
    { class: "positions" },
    h("caption", {}, `Where the marks are (their middles, ± with k = ${K})`),
    h("thead", {}, h("tr", {}, ...["Mark", "Station", "Offset"].map((words) => h("th", { scope: "col" }, words)))),
    h("tbody", {}, ...rows),
  );
}
