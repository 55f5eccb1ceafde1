// What the service measured: asked for after every save, shown with uncertainty, flags and reasons.
import { getJson, wordsOf } from "../client";
import { inDisplay, showMeasured, type Unit } from "../units";
import { folding, h, soon } from "./dom";
import type { MarkMeasures, MeasuredValue, PhotoMeasures, Placed } from "./types";
import type { Store } from "./store";

const NAMES: Record<string, string> = {
  area: "Area",
  equivalent_diameter: "Diameter of the same area",
  longest_calliper: "Longest across",
  shortest_calliper: "Shortest across",
  perimeter: "Perimeter",
  length: "Length",
  spacing: "Gap to the nearest of its kind",
  pit_area: "All pits together",
  blend_out_area: "All blend-outs together",
  affected_area: "Affected area",
  pit_count: "Pits",
  pit_density: "Pits in the affected area",
  affected_share: "Pitted share of the affected area",
  mm_per_px: "Size of one pixel",
  tilt: "Slant of the view",
};
const PAUSE_MS = 150;

interface Answer {
  photos: PhotoMeasures[];
  placed: Placed | null;
  flag_meaning: Record<string, string>;
}

export class Measures {
  now: PhotoMeasures | null = null;
  placed: Placed | null = null;
  meaning: Record<string, string> = {};
  problem = "";
  busy = false;
  private timer: number | undefined;
  private turn = 0;
  private readonly opened = new Set<string>();
  onChange: () => void = () => undefined;

  constructor(
    private readonly url: string,
    store: Store,
    private readonly unit: Unit,
  ) {
    store.onChange((change) => {
      if (change === "measures") this.ask();
      if (change === "doc") this.stale();
    });
    this.ask();
  }

  of(id: string): MarkMeasures | undefined {
    return this.now?.marks.find((one) => one.mark === id);
  }

  private stale(): void {
    this.busy = true;
    soon(this.onChange);
  }

  private ask(): void {
    window.clearTimeout(this.timer);
    this.busy = true;
    this.timer = window.setTimeout(() => void this.fetch(), PAUSE_MS);
  }

  private async fetch(): Promise<void> {
    this.turn += 1;
    const turn = this.turn;
    try {
      const answer = await getJson<Answer>(this.url);
      // A newer question is on its way; its answer counts.
      if (turn !== this.turn) return;
      this.now = answer.photos[0] ?? null;
      this.placed = answer.placed;
      this.meaning = answer.flag_meaning;
      this.problem = this.now?.problem ?? "";
    } catch (error) {
      if (turn !== this.turn) return;
      this.problem = wordsOf(error);
    }
    this.busy = false;
    soon(this.onChange);
  }

  /** One value as text, `12.3 ± 0.4 mm²`. */
  text(value: MeasuredValue): string {
    if (value.value === null) return "not known";
    // A count is exact.
    if (value.unit === "1" && value.u === 0 && Number.isInteger(value.value)) return String(value.value);
    const [shown, unitText] = inDisplay(value.value, value.unit, this.unit);
    const factor = value.value === 0 ? inDisplay(1, value.unit, this.unit)[0] : shown / value.value;
    return showMeasured(shown, value.u === null ? null : Math.abs(value.u * factor), unitText).trim();
  }

  /** A list of values with their names; each opens to show where its uncertainty comes from. */
  list(values: Record<string, MeasuredValue>): HTMLElement {
    const rows = Object.entries(values).map(([name, value]) =>
      h("div", {}, h("dt", {}, NAMES[name] ?? name.replace(/_/g, " ")), h("dd", {}, this.withBudget(name, value))),
    );
    return h("dl", { class: `values${this.busy ? " busy" : ""}` }, ...rows);
  }

  private withBudget(name: string, value: MeasuredValue): Node | string {
    const text = this.text(value);
    const parts = Object.entries(value.budget).filter(([, part]) => part);
    const whole = parts.reduce((sum, [, part]) => sum + (part ?? 0) ** 2, 0);
    if (parts.length === 0 || whole === 0) return text;
    const lines = parts.map(([source, part]) => {
      const share = (100 * (part ?? 0) ** 2) / whole;
      return h("li", {}, `${source.replace(/^photo [^:]*: /, "")}: ${share < 1 ? "under 1" : Math.round(share)} %`);
    });
    return folding(
      this.opened.has(name),
      (open) => void (open ? this.opened.add(name) : this.opened.delete(name)),
      { class: "budget" },
      h("summary", { title: "Where the ± comes from", "data-key": `budget-${name}` }, text),
      h("p", { class: "quiet" }, "Shares of the ±:"),
      h("ul", {}, ...lines),
    );
  }

  /** Reasons to doubt, each in one plain sentence. */
  doubts(flags: readonly string[]): HTMLElement | null {
    const unique = [...new Set(flags)];
    if (unique.length === 0) return null;
    return h(
      "ul",
      { class: "doubts" },
      ...unique.map((flag) => h("li", {}, this.meaning[flag] ?? flag.replace(/-/g, " "))),
    );
  }
}

export const flagsOf = (values: Record<string, MeasuredValue>): string[] =>
  Object.values(values).flatMap((value) => value.flags);
