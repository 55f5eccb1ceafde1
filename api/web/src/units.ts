// Units at the edge: documents are in the structure's unit, results in mm, people see mm or inches.
// 1 in = 25.4 mm exactly (NIST SP 811, 2008, Appendix B.8).

export type Unit = "mm" | "in";

export const MM_PER: Record<Unit, number> = { mm: 1, in: 25.4 };
/** Decimals of a depth or thickness; the trade reads inches to a tenth of a mil. */
export const DECIMALS: Record<Unit, number> = { mm: 3, in: 4 };
/** Coverage factor of every shown uncertainty. */
export const K = 2;
const MINUS = "\u2212";

/** Convert a length (power 1) or an area (power 2) between units. */
export function convert(value: number, from: Unit, to: Unit, power = 1): number {
  return from === to ? value : value * (MM_PER[from] / MM_PER[to]) ** power;
}

/** Write a number with a true minus sign. */
export function fixed(value: number, decimals: number): string {
  const text = value.toFixed(decimals);
  return /^-0(\.0*)?$/.test(text) ? text.slice(1) : text.replace("-", MINUS);
}

/** Write a length that is in mm for a reader: `0.0031 in`. */
export function showLength(mm: number, unit: Unit, decimals = DECIMALS[unit]): string {
  return `${fixed(mm / MM_PER[unit], decimals)} ${unit}`;
}

/** Write a value with U = 2 u, both to the digit that U's two leading digits end at. */
export function showMeasured(value: number, u: number | null, unitText: string): string {
  if (u === null || !Number.isFinite(u)) return `${significant(value, 3)} ${unitText}, uncertainty not known`;
  const expanded = K * u;
  if (expanded <= 0) return `${significant(value, 4)} ${unitText}`;
  const decimals = decimalsOf(expanded);
  return `${fixed(value, decimals)} ± ${fixed(roundedUp(expanded, decimals), decimals)} ${unitText}`;
}

/** Decimals at which a positive number shows two significant digits, 0 to 9. */
export function decimalsOf(value: number): number {
  return Math.min(9, Math.max(0, 1 - Math.floor(Math.log10(value))));
}

// An uncertainty that rounds down would claim more than is known.
function roundedUp(value: number, decimals: number): number {
  const step = 10 ** -decimals;
  return Math.ceil(value / step - 1e-9) * step;
}

function significant(value: number, digits: number): string {
  if (value === 0 || !Number.isFinite(value)) return String(value);
  const decimals = Math.min(9, Math.max(0, digits - 1 - Math.floor(Math.log10(Math.abs(value)))));
  return fixed(value, decimals);
}

/** The unit text and the value of a result (`mm`, `mm2`, `mm3`, `1`, `1/mm2`) in a display unit. */
export function inDisplay(value: number, resultUnit: string, unit: Unit): [number, string] {
  const powers: Record<string, number> = { mm: 1, mm2: 2, mm3: 3, "1/mm2": -2 };
  const power = powers[resultUnit];
  if (power === undefined) return [value, resultUnit === "1" ? "" : resultUnit];
  const names: Record<number, string> = { 1: unit, 2: `${unit}²`, 3: `${unit}³`, [-2]: `per ${unit}²` };
  return [convert(value, "mm", unit, power), names[power] ?? resultUnit];
}

/** Read what a person typed as a number, decimal comma or point; null if it is none. */
export function parseNumber(text: string): number | null {
  const clean = text.trim().replace(MINUS, "-").replace(/,(?=\d*$)/, ".");
  if (!/^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(clean)) return null;
  const value = Number(clean);
  return Number.isFinite(value) ? value : null;
}

/** Write a number for an input field: no unit, no needless zeros, no rounding that a reader would miss. */
export function fieldText(value: number | null | undefined): string {
  return value === null || value === undefined ? "" : String(Number(value.toPrecision(9)));
}

/** The unit a person sees: the page frame states their choice, else the survey's display unit. */
export function chosenUnit(surveyUnit: Unit): Unit {
  const stated = document.documentElement.dataset["units"];
  return stated === "mm" || stated === "in" ? stated : surveyUnit;
}
