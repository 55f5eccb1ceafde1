// The ledger of a spot: what is gone there, against which limit, and which entries add up to it.
import { count, make } from "../frame";
import { fixed, showLength, type Unit, MM_PER, DECIMALS } from "../units";
import type { Found, MapData, Point, Reading, Spot } from "./data";

// A thickness reading is taken near a dish's middle, not on the pixel that was clicked.
const NEAR_MM = 25;

type Show = (mm: number) => string;

/** Draw the ledger. */
export function ledger(spot: Spot, data: MapData, under: Found[], unit: Unit): HTMLElement {
  const show: Show = (mm) => showLength(mm, unit);
  const box = make("div");
  const near = (data.readings ?? []).filter((one) => distance(one.at, spot.at_mm) <= NEAR_MM);
  for (const reading of near) box.append(readingWords(reading, spot, data, show));
  const outranked = near.some((one) => !one.agrees && one.removed_by_reading > one.removed_by_entries);
  box.append(
    outranked
      ? make("p", { class: "quiet" }, `The entries alone, at this spot: ${spot.verdict}.`)
      : make("p", {}, verdictOf(spot.verdict, data), " ", make("span", { class: "quiet" }, spot.reason)),
  );
  box.append(facts(spot, show, unit));
  box.append(spot.ledger.length > 0 ? entries(spot, show, unit) : make("p", {}, "No entry reaches this spot: nothing was removed here, as far as the records and photos tell."));
  for (const found of under) box.append(links(found, unit));
  return box;
}

/** A verdict as symbol, shape and words. */
export function verdictOf(verdict: string, data: MapData): HTMLElement {
  const words = ["within", "not determined", "too close to call", "over"];
  const known = data.verdicts?.[words.indexOf(verdict)];
  return make("span", { class: `verdict ${known?.class ?? "unknown"}` }, known?.words ?? verdict);
}

function distance([s, o]: Point, [station, offset]: Point): number {
  return Math.hypot(s - station, o - offset);
}

// The larger of reading and sum governs; the sum alone must not look like the answer beside it.
function readingWords(reading: Reading, spot: Spot, data: MapData, show: Show): HTMLElement {
  const away = distance(reading.at, spot.at_mm);
  const place = away < 0.5 ? "here" : `${show(away)} from here`;
  const said = `Thickness reading ${reading.id}, ${place}: ${show(reading.removed_by_reading)} removed, the entries there add up to ${show(reading.removed_by_entries)}. `;
  if (reading.agrees) return make("p", { class: "notice" }, said, "They agree.");
  return make("div", { class: "notice problem" }, make("p", {}, said, "They disagree; the larger removal governs. "), make("p", {}, `At ${reading.id}: `, verdictOf(reading.verdict, data)));
}

function place(mm: number, unit: Unit): string {
  return `${fixed(mm / MM_PER[unit], unit === "in" ? 2 : 1)} ${unit}`;
}

function facts(spot: Spot, show: Show, unit: Unit): HTMLElement {
  const [station, offset] = spot.at_mm;
  const rows: [string, string][] = [
    ["Station, offset", `${place(station, unit)}, ${place(offset, unit)}`],
    ["Removed, both faces", withDoubt(spot.removed.value, spot.removed.U, unit)],
    ["of it outer, inner", `${show(spot.removed_by_face.outer.value)}, ${show(spot.removed_by_face.inner.value)}`],
    ["Limit", spot.limit ? show(spot.limit.value) : "not set"],
    ["Set by", spot.limit_source || "-"],
    ["Margin left", spot.margin ? show(spot.margin.value) : "not determined"],
    ["Remaining thickness", `${show(spot.remaining.value)} of ${show(spot.thickness.value)}`],
    ["Chance of being over", chance(spot.probability_over)],
  ];
  const list = make("dl", { class: "facts" });
  for (const [name, value] of rows) list.append(make("dt", {}, name), make("dd", {}, value));
  return list;
}

function withDoubt(value: number, doubt: number | null, unit: Unit): string {
  const decimals = DECIMALS[unit];
  const shown = fixed(value / MM_PER[unit], decimals);
  if (doubt === null) return `${shown} ${unit}, uncertainty not known`;
  // Rounded up: a shown uncertainty must not claim more than is known.
  const step = 10 ** -decimals;
  const up = Math.ceil(doubt / MM_PER[unit] / step - 0.1) * step;
  return `${shown} ± ${fixed(up, decimals)} ${unit}`;
}

function chance(probability: number | null): string {
  if (probability === null) return "-";
  if (probability > 0 && probability < 0.001) return "below 0.1 %";
  if (probability < 1 && probability > 0.999) return "above 99.9 %";
  return `${fixed(100 * probability, 1)} %`;
}

function entries(spot: Spot, show: Show, unit: Unit): HTMLElement {
  const table = make("table");
  table.append(make("caption", {}, `${count(spot.ledger.length, "entry", "entries")}, in the order they were made. Lengths in ${unit === "in" ? "inches" : "mm"}.`));
  const head = make("tr");
  for (const [words, kind] of [["Entry", ""], ["Face", ""], ["Depth here", "number"], ["Adds", "number"], ["Face total", "number"]] as const) {
    head.append(make("th", { scope: "col", class: kind }, words));
  }
  table.append(make("thead", {}, head));
  const body = make("tbody");
  const bare: Show = (mm) => show(mm).replace(` ${unit}`, "");
  for (const line of spot.ledger) {
    const about = [line.origin === "survey" ? "this survey" : line.origin, line.date ?? "no date", `from ${line.measured_from}`].join(", ");
    body.append(make("tr", {},
      make("th", { scope: "row" }, line.entry, make("br"), make("span", { class: "quiet small" }, about)),
      make("td", {}, line.face),
      make("td", { class: "number" }, bare(line.depth_here.value)),
      make("td", { class: "number" }, bare(line.adds.value)),
      make("td", { class: "number" }, bare(line.face_total_after.value))));
  }
  table.append(body);
  return make("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Entries that add up here" }, table);
}

function links(found: Found, unit: Unit): HTMLElement {
  const depth = found.depth ? withDoubt(found.depth.value, found.depth.U, unit) : "no depth read";
  const line = make("p", {}, make("strong", {}, found.id), ` ${found.words}, ${found.face ?? "face not stated"}, depth ${found.kind === "pit" || found.kind === "blend-out" ? depth : "-"}. `);
  for (const source of found.sources) {
    if (!source.address) continue;
    line.append(make("a", { href: `${source.address}?mark=${encodeURIComponent(source.mark)}` }, `photo ${source.photo}, mark ${source.mark}`), " ");
  }
  return line;
}
