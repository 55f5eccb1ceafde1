// Number fields in the display unit; the document keeps its own unit.
import { convert, fieldText, parseNumber, type Unit } from "../units";
import { field, h } from "./dom";

export interface Units {
  /** Unit of the document's lengths. */
  doc: Unit;
  /** Unit a person sees. */
  shown: Unit;
}

export interface NumberField {
  key: string;
  label: string;
  help?: string;
  /** In the document's unit. */
  value: number | null | undefined;
  /** `length` converts between units. */
  type: "length" | "angle" | "number";
  least?: number;
  above?: number;
  most?: number;
  required?: boolean;
  onValue: (value: number | null) => void;
}

// What was typed and refused stays, with its fault, however often the panel is drawn anew.
const refused = new Map<string, string>();

/** Forget refused texts, when their fields go. */
export function forgetRefused(): void {
  refused.clear();
}

const SUFFIX = { angle: "degrees", number: "" } as const;

/** A text field that takes a number (point or comma), says what is wrong, and hands on what is right. */
export function numberField(spec: NumberField, units: Units): HTMLElement {
  const toShown = (value: number): number =>
    spec.type === "length" ? convert(value, units.doc, units.shown) : value;
  const toDoc = (value: number): number =>
    spec.type === "length" ? convert(value, units.shown, units.doc) : value;
  const given = spec.value ?? null;
  const text = given === null ? "" : fieldText(toShown(given));
  const kept = refused.get(spec.key);
  const error = h("p", { class: "error", role: "alert" });
  const input = h("input", {
    type: "text",
    inputmode: "decimal",
    autocomplete: "off",
    "data-key": spec.key,
    value: kept ?? text,
    "aria-required": spec.required ? "true" : null,
    onchange: () => {
      const wrong = judge();
      input.defaultValue = input.value;
      if (wrong) {
        refused.set(spec.key, input.value);
        return;
      }
      refused.delete(spec.key);
      if (input.value.trim() === text) return;
      const value = parseNumber(input.value);
      spec.onValue(value === null ? null : toDoc(value));
    },
  });
  const judge = (): string | null => {
    const wrong = faultOf(input.value, spec);
    error.textContent = wrong ?? "";
    error.hidden = !wrong;
    input.setAttribute("aria-invalid", String(Boolean(wrong)));
    return wrong;
  };
  error.hidden = true;
  if (kept !== undefined) judge();
  const unit = spec.type === "length" ? units.shown : SUFFIX[spec.type];
  const made = field(`${spec.label}${unit ? ` (${unit})` : ""}`, input, spec.help ?? "");
  made.append(error);
  return made;
}

/** What is wrong with a typed number, in words; null if nothing. */
export function faultOf(text: string, spec: Pick<NumberField, "least" | "above" | "most" | "required">): string | null {
  if (text.trim() === "") return spec.required ? "Enter a number." : null;
  const value = parseNumber(text);
  if (value === null) return `"${text}" is not a number. Write it like 1.25.`;
  if (spec.above !== undefined && value <= spec.above) return `Enter a number above ${spec.above}.`;
  if (spec.least !== undefined && value < spec.least) return `Enter ${spec.least} or more.`;
  if (spec.most !== undefined && value > spec.most) return `Enter at most ${spec.most}.`;
  return null;
}
