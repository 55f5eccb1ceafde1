// A form that is a document: nested fields by their data-name, lists of rows cloned from a template,
// lengths shown in one unit and kept in another. A value nobody touched goes back exactly as it came, and
// what the form does not show is carried along.
import { FieldError, type Units } from "../rework/fields";
import { convert, parseNumber } from "../units";

export type Json = Record<string, unknown>;
type Field = HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement;

// What is shown may be rounded: a value that nobody touches goes back as it came.
const SHOWN_DIGITS = 6;
const POWER: Record<string, number> = { length: 1, area: 2 };

export class DocForm {
  private readonly came = new WeakMap<Field, { text: string; value: unknown }>();
  private readonly carried = new WeakMap<Element, Json>();

  constructor(
    readonly form: HTMLFormElement,
    private readonly units: Units,
  ) {
    form.addEventListener("submit", (event) => event.preventDefault());
    form.addEventListener("input", () => this.titles());
    form.addEventListener("click", (event) => this.clicked(event.target as Element));
  }

  /** Show a document. */
  fill(document: Json): void {
    this.fillPart(this.form, document);
    this.titles();
  }

  /** Read the document; a FieldError says what cannot be taken, or is missing. */
  read(): Json {
    for (const field of this.form.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
    return this.readPart(this.form);
  }

  /** Add an empty row to a list; the first field takes the focus. */
  addRow(list: HTMLElement, values: Json = {}): HTMLElement {
    const template = document.getElementById(list.dataset["template"] ?? "") as HTMLTemplateElement;
    const row = (template.content.firstElementChild as HTMLElement).cloneNode(true) as HTMLElement;
    list.append(row);
    this.fillPart(row, values);
    return row;
  }

  private clicked(target: Element): void {
    const adds = target.closest<HTMLElement>("button[data-add-row]");
    const drops = target.closest<HTMLElement>('button[data-do="drop-row"]');
    if (adds) {
      const scope = adds.closest("[data-row]") ?? this.form;
      const list = this.own<HTMLElement>(scope, "[data-rows]").find((one) => one.dataset["rows"] === adds.dataset["addRow"]);
      if (list) this.begin(list);
    } else if (drops) {
      const row = drops.closest("[data-row]");
      const list = row?.parentElement;
      row?.remove();
      (list?.parentElement?.querySelector<HTMLElement>("button[data-add-row]") ?? this.form).focus();
      this.form.dispatchEvent(new Event("input", { bubbles: true }));
    }
  }

  private begin(list: HTMLElement): void {
    const prefix = list.dataset["fresh"];
    const taken = [...list.querySelectorAll<HTMLInputElement>(':scope > [data-row] [data-name="id"]')].map((one) => one.value);
    let number = taken.length + 1;
    while (taken.includes(`${prefix}${number}`)) number += 1;
    const row = this.addRow(list, prefix ? { id: `${prefix}${number}` } : {});
    if (row instanceof HTMLDetailsElement) row.open = true;
    const fields = [...row.querySelectorAll<Field>("[data-name]")];
    (fields.find((one) => one.dataset["name"] !== "id" && !(one instanceof HTMLOutputElement)) ?? fields[0])?.focus();
    this.form.dispatchEvent(new Event("input", { bubbles: true }));
  }

  // A closed row says what is in it: its name, and the likeliest of its figures.
  private titles(): void {
    for (const title of this.form.querySelectorAll<HTMLElement>("[data-row] > summary > [data-title]")) {
      const row = title.closest("[data-row]");
      if (!row) continue;
      const text = (name: string): string => this.own<Field>(row, `[data-name="${name}"]`)[0]?.value.trim() ?? "";
      const figures = (title.dataset["title"] ?? "").split(" ").filter(Boolean).map((name) => [text(`${name}.likely`), name] as const);
      const currency = this.form.querySelector<Field>('[data-name="rates.currency"]')?.value.trim() ?? "";
      const said = figures.filter(([value]) => value !== "")
        .map(([value, name]) => `${name} ${value}${name === "hours" ? "" : ` ${currency}`}`.trim());
      title.textContent = [text("name") || text("label") || text("id") || "without a name", ...said].join(", ");
    }
  }

  // Everything that belongs to a form or row itself, not to a row inside it.
  private own<T extends Element>(scope: Element, selector: string): T[] {
    return [...scope.querySelectorAll<T>(selector)].filter((one) => {
      const holder = one.parentElement?.closest("[data-row]") ?? this.form;
      return holder === scope || (scope === this.form && holder === this.form);
    });
  }

  private fillPart(scope: Element, values: Json): void {
    this.carried.set(scope, structuredClone(values));
    for (const field of this.own<Field>(scope, "[data-name]")) this.fillField(field, at(values, field.dataset["name"] ?? ""));
    for (const list of this.own<HTMLElement>(scope, "[data-rows]")) {
      list.replaceChildren();
      for (const item of (at(values, list.dataset["rows"] ?? "") ?? []) as Json[]) this.addRow(list, item);
    }
  }

  private fillField(field: Field | HTMLOutputElement, value: unknown): void {
    field.removeAttribute("aria-invalid");
    delete field.dataset["follows"];
    if (field instanceof HTMLOutputElement) {
      field.value = String(value ?? "");
      return;
    }
    if (field instanceof HTMLInputElement && field.type === "checkbox") {
      field.checked = value === undefined ? field.defaultChecked : Boolean(value);
      return;
    }
    if (field instanceof HTMLSelectElement && typeof value === "string" && ![...field.options].some((one) => one.value === value)) {
      field.append(new Option(value, value));
    }
    field.value = value === undefined || value === null ? (field instanceof HTMLSelectElement ? (field.options[0]?.value ?? "") : "") : this.shown(field, value);
    this.came.set(field, { text: field.value, value });
  }

  private shown(field: Field, value: unknown): string {
    if (typeof value === "boolean") return value ? "yes" : "no";
    if (field.dataset["type"] === "ring") return ringText(value as number[][], this.units);
    if (typeof value !== "number") return String(value);
    const type = field.dataset["type"] ?? "";
    if (type === "percent") return fieldText(100 * value);
    const power = POWER[type];
    return fieldText(power ? convert(value, this.units.doc, this.units.shown, power) : value);
  }

  private readPart(scope: Element): Json {
    const values = structuredClone(this.carried.get(scope) ?? {});
    const fields = this.own<Field>(scope, "[data-name]").filter((one) => !(one instanceof HTMLOutputElement));
    const groups = this.own<HTMLElement>(scope, "[data-group]");
    for (const field of fields) {
      const value = this.value(field, groups.some((group) => group.contains(field)));
      if (value === undefined) drop(values, field.dataset["name"] ?? "");
      else put(values, field.dataset["name"] ?? "", value);
    }
    // The innermost first, so that a blank one is gone when the one around it is settled.
    for (const group of groups.reverse()) this.settle(group, values);
    for (const list of this.own<HTMLElement>(scope, "[data-rows]")) {
      const rows = [...list.children].filter((one) => one.matches("[data-row]"));
      put(values, list.dataset["rows"] ?? "", rows.map((row) => this.readPart(row)));
    }
    return values;
  }

  // A group is stated as a whole or not at all: a figure without its source is no figure.
  private settle(group: HTMLElement, values: Json): void {
    const inside = [...group.querySelectorAll<Field>("[data-name]")];
    const blank = inside.filter((one) => one.value.trim() === "");
    if (blank.length === inside.length) {
      drop(values, group.dataset["group"] ?? "");
      return;
    }
    const words = group.dataset["words"] ?? "";
    const missing = blank.find((one) => "must" in one.dataset && one.closest("[data-group]") === group);
    if (missing) throw new FieldError(missing, `${words}: ${labelOf(missing)} is missing.`, true);
  }

  private value(field: Field, grouped: boolean): unknown {
    if (field instanceof HTMLInputElement && field.type === "checkbox") return field.checked;
    const text = field.value.trim();
    if (text === "" || field.dataset["follows"] !== undefined) {
      if ("must" in field.dataset && !grouped) {
        throw new FieldError(field, field.dataset["missing"] ?? `${labelOf(field)} is missing.`, true);
      }
      return undefined;
    }
    const type = field.dataset["type"];
    if (type === undefined) return text;
    if (type === "yesno") return text === "yes";
    const came = this.came.get(field);
    if (came && came.text === field.value && came.value !== undefined && came.value !== null) return came.value;
    return type === "ring" ? this.ring(field, text) : this.number(field, type, text);
  }

  /** Corners as "station, offset; station, offset; ...". */
  private ring(field: Field, text: string): number[][] {
    const corners = text.split(";").map((corner) => corner.trim()).filter(Boolean);
    const made = corners.map((corner) => corner.split(/[,\s]+/).map((part) => parseNumber(part)));
    const right = made.length >= 3 && made.every((corner) => corner.length === 2 && corner.every((v) => v !== null));
    if (!right) {
      throw new FieldError(field, `${labelOf(field)}: write three corners or more, as 0 0; 300 0; 300 20.`);
    }
    return made.map((corner) => corner.map((v) => convert(v ?? 0, this.units.shown, this.units.doc)));
  }

  private number(field: Field, type: string, text: string): number {
    const label = labelOf(field);
    const number = parseNumber(text);
    if (number === null) throw new FieldError(field, `${label}: "${text}" is not a number. Write it like 1.25.`);
    const { above, least, most } = field.dataset;
    if (above !== undefined && number <= Number(above)) throw new FieldError(field, `${label} must be above ${above}.`);
    if (least !== undefined && number < Number(least)) throw new FieldError(field, `${label} must be ${least} or more.`);
    if (most !== undefined && number > Number(most)) throw new FieldError(field, `${label} must be ${most} or less.`);
    if (type === "percent") return Number((number / 100).toPrecision(12));
    const power = POWER[type];
    return power ? convert(number, this.units.shown, this.units.doc, power) : number;
  }
}

/** The words of a field's label, without its unit. */
export function labelOf(field: HTMLElement): string {
  const label = field.closest("label")?.cloneNode(true) as HTMLElement | undefined;
  for (const one of label?.querySelectorAll(".help, input, select, textarea") ?? []) one.remove();
  return (label?.textContent ?? "A field").replace(/\s+/g, " ").trim().replace(/ \((mm|in|%|mm²|in²)\)$/, "");
}

/** Two ways to state one ratio: typing one shows the other, and what was typed last is what is kept. */
export function linkRatio(form: HTMLFormElement): () => void {
  const box = form.querySelector<HTMLElement>("[data-linked]");
  const [total, side] = [...(box?.querySelectorAll<HTMLInputElement>('[data-name^="run_out.ratio."]') ?? [])];
  const said = form.querySelector<HTMLElement>('[data-part="both-ways"]');
  if (!total || !side || !said) return () => undefined;
  const words = said.textContent ?? "";
  const follow = (from: HTMLInputElement, to: HTMLInputElement, factor: number): void => {
    const number = parseNumber(from.value);
    delete from.dataset["follows"];
    to.dataset["follows"] = "";
    to.value = number === null ? "" : fieldText(number * factor);
    const [all, each] = [parseNumber(total.value), parseNumber(side.value)];
    said.textContent = all && each ? `${fieldText(all)}:1 in all, which is ${fieldText(each)}:1 on each side.` : words;
  };
  total.addEventListener("input", () => follow(total, side, 0.5));
  side.addEventListener("input", () => follow(side, total, 2));
  return () => {
    if (side.value) follow(side, total, 2);
    else follow(total, side, 0.5);
  };
}

function ringText(ring: readonly number[][], units: Units): string {
  return ring.map((corner) => corner.map((v) => fieldText(convert(v, units.doc, units.shown))).join(" ")).join("; ");
}

function fieldText(value: number): string {
  return String(Number(value.toPrecision(SHOWN_DIGITS)));
}

function at(values: Json, path: string): unknown {
  return path.split(".").reduce<unknown>((value, step) => (value as Json | null | undefined)?.[step], values);
}

function put(values: Json, path: string, value: unknown): void {
  const steps = path.split(".");
  const last = steps.pop() ?? "";
  let place = values;
  for (const step of steps) {
    if (typeof place[step] !== "object" || place[step] === null) place[step] = {};
    place = place[step] as Json;
  }
  place[last] = value;
}

function drop(values: Json, path: string): void {
  const steps = path.split(".");
  const last = steps.pop() ?? "";
  const place = steps.reduce<Json | undefined>((value, step) => value?.[step] as Json | undefined, values);
  if (place && typeof place === "object") delete place[last];
}
