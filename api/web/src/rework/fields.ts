// The fields of a form by their data-name, in the display unit; documents keep their own unit. A number
// that nobody touched goes back exactly as it came.
import { convert, fieldText, parseNumber, type Unit } from "../units";

export type Values = Record<string, unknown>;
type Field = HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement;

export interface Units {
  doc: Unit;
  shown: Unit;
}

/** Something typed that cannot be taken, and where. */
export class FieldError extends Error {
  constructor(
    readonly field: HTMLElement,
    message: string,
    readonly missing = false,
  ) {
    super(message);
  }
}

export class Fields {
  private readonly came = new Map<Field, { text: string; value: unknown }>();

  constructor(
    private readonly form: HTMLFormElement,
    private readonly units: Units,
  ) {}

  all(): Field[] {
    return [...this.form.querySelectorAll<Field>("[data-name]")];
  }

  /** The field of a name; of a choice its first button. */
  named(name: string): Field | undefined {
    return this.all().find((field) => field.dataset["name"] === name);
  }

  /** Empty the form, then show the values. */
  fill(values: Values): void {
    this.form.reset();
    this.came.clear();
    for (const field of this.all()) {
      field.removeAttribute("aria-invalid");
      const value = at(values, field.dataset["name"] ?? "");
      if (isChoice(field)) {
        if (value !== undefined) field.checked = value === field.value;
        continue;
      }
      if (value === undefined || value === null) continue;
      field.value = typeof value === "number" ? fieldText(this.shown(field, value)) : String(value);
      this.came.set(field, { text: field.value, value });
    }
  }

  /** Put a length that is in the display unit into a field. */
  write(name: string, value: number): void {
    const field = this.named(name);
    if (field) field.value = fieldText(value);
  }

  /** What is in a field, as a number in the display unit; null if it is none. */
  number(name: string): number | null {
    return parseNumber(this.named(name)?.value ?? "");
  }

  /** Read everything, lengths in the document's unit; a FieldError says what cannot be taken. */
  read(): Values {
    const values: Values = {};
    for (const field of this.all()) {
      if (field.matches(":disabled")) continue;
      const name = field.dataset["name"] ?? "";
      if (isChoice(field)) {
        if (field.checked) put(values, name, field.value);
        else this.mustChoose(field);
        continue;
      }
      const value = this.value(field);
      if (value !== null) put(values, name, value);
    }
    return values;
  }

  private mustChoose(field: HTMLInputElement): void {
    const group = field.closest<HTMLElement>("[data-required]");
    if (!group || group.querySelector(`[name="${field.name}"]:checked`)) return;
    throw new FieldError(field, `${group.dataset["required"]}: choose one.`, true);
  }

  private value(field: Field): string | number | null {
    const text = field.value.trim();
    const label = labelOf(field);
    if (text === "") {
      if (field.required) throw new FieldError(field, `${label} is missing.`, true);
      return null;
    }
    if (field.dataset["type"] === undefined) return text;
    const came = this.came.get(field);
    if (came && came.text === field.value) return came.value as number;
    const number = parseNumber(text);
    if (number === null) throw new FieldError(field, `${label}: "${text}" is not a number. Write it like 1.25.`);
    const { above, least } = field.dataset;
    if (above !== undefined && number <= Number(above)) throw new FieldError(field, `${label} must be above ${above}.`);
    if (least !== undefined && number < Number(least)) throw new FieldError(field, `${label} must be ${least} or more.`);
    return field.dataset["type"] === "length" ? convert(number, this.units.shown, this.units.doc) : number;
  }

  private shown(field: Field, value: number): number {
    return field.dataset["type"] === "length" ? convert(value, this.units.doc, this.units.shown) : value;
  }
}

function isChoice(field: Field): field is HTMLInputElement {
  return field instanceof HTMLInputElement && field.type === "radio";
}

function labelOf(field: Field): string {
  return (field.labels?.[0]?.textContent ?? "A field").replace(/ \((mm|in)\)$/, "");
}

function at(values: Values, path: string): unknown {
  return path.split(".").reduce<unknown>((value, step) => (value as Values | null | undefined)?.[step], values);
}

function put(values: Values, path: string, value: unknown): void {
  const steps = path.split(".");
  const last = steps.pop() ?? "";
  let place = values;
  for (const step of steps) place = (place[step] ??= {}) as Values;
  place[last] = value;
}
