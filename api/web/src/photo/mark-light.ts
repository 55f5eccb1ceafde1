// Depths by light: what a shadow or the travel of a focus is read from. Only ever indicative.
import type { Px } from "../geometry";
import { convert, parseNumber, showLength } from "../units";
import { button, field, folding, h, select } from "./dom";
import { faultOf } from "./fields";
import type { MarksContext } from "./panel-marks";
import type { Store } from "./store";
import type { FocusLight, Light, Mark, ShadowLight } from "./types";

const ENDS: readonly [string, string][] = [
  ["floor", "on the floor of the pit"],
  ["far wall", "on the far wall (at least this deep)"],
  ["no shadow", "nowhere, the floor is lit (at most this deep)"],
];
const SOURCES: readonly [string, string][] = [
  ["", "choose"],
  ["lamp", "a lamp at a known angle"],
  ["post", "the same light as a post of known height"],
];

/** What is entered but not added yet; one at a time, and it survives a redraw of the panel. */
type Entry = { mark: string; error: string } & (
  | { kind: "shadow"; image: [Px, Px]; source: string; size: string; u: string; ends: string; post: [Px, Px] | null }
  | { kind: "focus"; rim: string; floor: string; field: string }
);
type ShadowEntry = Extract<Entry, { kind: "shadow" }>;
type FocusEntry = Extract<Entry, { kind: "focus" }>;

let entry: Entry | null = null;
let opened = false;

/** Take in the two points of a pit's shadow, or of the post's. */
export function takeLightPoints(what: "shadow" | "post", mark: string, points: readonly Px[]): void {
  const [from, to] = points;
  if (!from || !to) return;
  opened = true;
  if (what === "shadow") {
    entry = { kind: "shadow", mark, image: [from, to], source: "", size: "", u: "", ends: "floor", post: null, error: "" };
  } else if (entry?.kind === "shadow") entry.post = [from, to];
}

/** The lines of a shadow that is being entered. */
export function enteredLines(): Px[][] {
  if (entry?.kind !== "shadow") return [];
  return entry.post ? [entry.image, entry.post] : [entry.image];
}

export function lightBox(context: MarksContext, mark: Mark): HTMLElement {
  const { store } = context;
  const list = mark.light ?? [];
  const mine = entry?.mark === mark.id ? entry : null;
  return folding(
    opened || list.length > 0,
    (open) => (opened = open),
    { class: "about" },
    h("summary", { "data-key": "light-box" }, list.length > 0 ? `Depth by light (${list.length})` : "Depth by light, where no gauge reaches"),
    h("p", { class: "quiet" }, "Indicative only: it counts where nothing read the metal, and proves no limit kept."),
    list.length > 0 ? h("ul", { class: "readings" }, ...list.map((one, i) => line(context, mark, one, i))) : null,
    mine?.kind === "shadow" ? shadowForm(context, mark, mine) : null,
    mine?.kind === "focus" ? focusForm(context, mark, mine) : null,
    mine ? null : starters(store, mark),
  );
}

function starters(store: Store, mark: Mark): HTMLElement {
  return h(
    "div",
    { class: "actions" },
    button("Add a shadow", () => store.setTool({ name: "light", mark: mark.id, what: "shadow" }), { "data-key": "light-shadow" }),
    button(
      "Add focus travel",
      () => {
        entry = { kind: "focus", mark: mark.id, rim: "", floor: "", field: "", error: "" };
        store.tell("selection");
      },
      { "data-key": "light-focus" },
    ),
  );
}

function line({ store, units }: MarksContext, mark: Mark, one: Light, index: number): HTMLElement {
  const by = (light: ShadowLight["light"]): string =>
    light.kind === "lamp" ? `lamp at ${light.elevation_deg}°` : `post of ${showLength(convert(light.height, units.doc, "mm"), units.shown)}`;
  const words =
    one.kind === "shadow"
      ? `Shadow ${ENDS.find(([key]) => key === (one.ends_on ?? "floor"))?.[1] ?? ""}, ${by(one.light)}`
      : `Focus travel, ${one.rim.readings.length + one.floor.readings.length} readings`;
  const remove = button(
    "Delete",
    () => {
      const now = store.mark(mark.id)?.light ?? [];
      store.changeMark(mark.id, { light: now.filter((other) => other !== one) }, `delete a depth by light of ${mark.id}`);
    },
    { "aria-label": `Delete depth by light ${index + 1}`, "data-key": `light-delete-${index}` },
  );
  return h("li", {}, h("span", {}, words), remove);
}

function shadowForm(context: MarksContext, mark: Mark, form: ShadowEntry): HTMLElement {
  const { store, units } = context;
  const again = (): void => store.tell("selection");
  const source = select(SOURCES, form.source, (value) => {
    form.source = value;
    if (value === "post" && !form.post) store.setTool({ name: "light", mark: mark.id, what: "post" });
    else again();
  });
  source.dataset["key"] = "light-source";
  const ends = select(ENDS, form.ends, (value) => (form.ends = value));
  ends.dataset["key"] = "light-ends";
  const lamp = form.source === "lamp";
  const known = lamp ? "Its angle above the surface (degrees)" : `Height of the post (${units.shown})`;
  return entryBox(
    "Shadow",
    [
      field("The light", source),
      form.source ? field(known, typed(form, "size"), lamp ? "From 5 to 45 degrees." : "") : null,
      form.source ? field(`Uncertainty u of it (${lamp ? "degrees" : units.shown})`, typed(form, "u"), "One sigma.") : null,
      field("The shadow ends", ends),
    ],
    form,
    () => addShadow(context, mark, form),
    store,
  );
}

function focusForm(context: MarksContext, mark: Mark, form: FocusEntry): HTMLElement {
  const unit = context.units.shown;
  return entryBox(
    "Focus travel",
    [
      h("p", { class: "quiet" }, "What the travel scale reads with the rim sharp and with the floor sharp, approached from the same side. Several readings are separated by spaces."),
      field(`Rim sharp at (${unit})`, typed(form, "rim")),
      field(`Floor sharp at (${unit})`, typed(form, "floor")),
      field(`Depth of field (${unit})`, typed(form, "field"), "Over how much travel it stays sharp."),
    ],
    form,
    () => addFocus(context, mark, form),
    context.store,
  );
}

function typed<F extends Entry>(form: F, name: keyof F & string): HTMLInputElement {
  const input = h("input", {
    type: "text",
    inputmode: "decimal",
    autocomplete: "off",
    value: String(form[name]),
    "data-key": `light-${name}`,
    "data-form": true,
    oninput: () => ((form as Record<string, unknown>)[name] = input.value),
  });
  return input;
}

function entryBox(legend: string, fields: (HTMLElement | null)[], form: Entry, add: () => string, store: Store): HTMLElement {
  const error = h("p", { class: "error", role: "alert" }, form.error);
  error.hidden = !form.error;
  const take = (): void => {
    form.error = add();
    error.textContent = form.error;
    error.hidden = !form.error;
  };
  const drop = (): void => {
    entry = null;
    store.tell("selection");
    store.tell("panel");
  };
  return h(
    "fieldset",
    { class: "group" },
    h("legend", {}, legend),
    h("div", { class: "fields" }, ...fields),
    error,
    h("div", { class: "actions" }, button("Add", take, { class: "main", "data-key": "light-add" }), button("Drop", drop, { "data-key": "light-drop" })),
  );
}

/** Add what the form holds; returns what is wrong, or "". */
function addShadow({ store, units }: MarksContext, mark: Mark, form: ShadowEntry): string {
  if (!form.source) return "Say where the light comes from; a shadow of unknown light says nothing.";
  const lamp = form.source === "lamp";
  if (!lamp && !form.post) return "Click the post's foot and the tip of its shadow: choose the light again.";
  const wrong = faultOf(form.size, { required: true, above: 0, ...(lamp ? { most: 89 } : {}) });
  if (wrong) return `${lamp ? "Angle" : "Height"}: ${wrong}`;
  const doubt = faultOf(form.u, { required: true, ...(lamp ? { above: 0 } : { least: 0 }) });
  if (doubt) return `Uncertainty: ${doubt}`;
  const [size, u] = [parseNumber(form.size) ?? 0, parseNumber(form.u) ?? 0];
  const mm = (value: number): number => convert(value, units.shown, units.doc);
  const light: ShadowLight["light"] =
    lamp || !form.post
      ? { kind: "lamp", elevation_deg: size, u_elevation_deg: u }
      : { kind: "post", height: mm(size), u_height: mm(u), image: form.post };
  return keep(store, mark, { kind: "shadow", image: form.image, light, ends_on: form.ends });
}

function addFocus({ store, units }: MarksContext, mark: Mark, form: FocusEntry): string {
  const numbers = (text: string): number[] | null => {
    const parts = text.trim().split(/[\s;]+/).map((part) => parseNumber(part));
    return parts.every((v): v is number => v !== null) ? parts.map((v) => convert(v, units.shown, units.doc)) : null;
  };
  const [rim, floor] = [numbers(form.rim), numbers(form.floor)];
  if (!rim) return "Rim: enter one or more numbers.";
  if (!floor) return "Floor: enter one or more numbers.";
  const wrong = faultOf(form.field, { required: true, above: 0 });
  if (wrong) return `Depth of field: ${wrong}`;
  const depth_of_field = convert(parseNumber(form.field) ?? 0, units.shown, units.doc);
  const made: FocusLight = { kind: "focus", rim: { readings: rim, depth_of_field }, floor: { readings: floor, depth_of_field } };
  return keep(store, mark, made);
}

function keep(store: Store, mark: Mark, made: Light): string {
  const now = store.mark(mark.id) ?? mark;
  if (now.kind === "blend-out" && !now.measured_from) return "First say what the depth was measured from, above.";
  entry = null;
  store.changeMark(mark.id, { light: [...(now.light ?? []), made] }, `add a depth by light to ${mark.id}`);
  return "";
}
