// Everything about one mark: its measures, its depths, how a blend-out was made, delete and duplicate.
import { MANY_CORNERS, openRing, withFewerCorners } from "../geometry";
import { convert, fieldText, parseNumber, showLength } from "../units";
import { button, field, folding, h, select } from "./dom";
import { faultOf, numberField } from "./fields";
import { lightBox } from "./mark-light";
import { flagsOf } from "./measures";
import type { MarksContext } from "./panel-marks";
import type { Store } from "./store";
import { LOOKS } from "./styles";
import type { DepthReading, Mark, MarkKind } from "./types";

const METHODS: readonly [string, string][] = [
  ["", "choose"],
  ["gauge", "depth gauge"],
  ["micrometer", "depth micrometer"],
  ["calliper", "calliper"],
  ["ultrasonic", "ultrasonic"],
  ["focus-travel", "focus travel (indicative)"],
  ["shadow", "shadow (indicative)"],
];
const RELATIONS: readonly [string, string][] = [
  ["=", "is the value"],
  [">=", "is at least (≥)"],
  ["<=", "is at most (≤)"],
];
const PROFILES: readonly [string, string, string][] = [
  ["flat", "Flat", "full depth to the outline"],
  ["dished", "Dished", "deepest in the middle, nothing at the outline"],
  ["faired", "Faired", "flat floor with a straight run-out to the outline"],
];
const FROM: readonly [string, string, string][] = [
  ["original", "Original contour", "depth below the original surface, such as under a straightedge over the dish; it includes earlier removal"],
  ["current", "Surface as found", "before and after readings; it adds to earlier removal"],
];

interface ReadingForm {
  value: string;
  u: string;
  method: string;
  instrument: string;
  relation: string;
  error: string;
}

// What was typed but not added yet survives a redraw of the panel.
const forms = new Map<string, ReadingForm>();
let lastMethod = "";
let lastInstrument = "";
// The panel is drawn anew after every change; what was opened stays open.
let aboutOpen = false;

export function markDetails(context: MarksContext, mark: Mark): HTMLElement {
  const { store, measures } = context;
  const found = measures.of(mark.id);
  return h(
    "div",
    { class: "details" },
    found?.problem ? h("p", { class: "notice problem" }, found.problem) : null,
    found && Object.keys(found.quantities).length > 0 ? measures.list(found.quantities) : null,
    found?.depth && (mark.light ?? []).length > 0 ? measures.list({ depth: found.depth }) : null,
    found ? measures.doubts([...flagsOf(found.quantities), ...(found.depth?.flags ?? [])]) : null,
    mark.kind === "pit" || mark.kind === "blend-out" ? depths(context, mark) : null,
    mark.kind === "pit" || mark.kind === "blend-out" ? lightBox(context, mark) : null,
    mark.kind === "blend-out" ? blend(context, mark) : null,
    about(context, mark),
    h(
      "div",
      { class: "actions" },
      button(
        "Move",
        () => {
          store.moving = !store.moving;
          store.tell("selection");
        },
        { "aria-pressed": String(store.moving), "data-key": "move", title: "Drag the whole mark" },
      ),
      fewerCorners(store, mark),
      button("Duplicate", () => context.onDuplicate(mark.id), { "data-key": "duplicate" }),
      button("Delete", () => store.deleteMark(mark.id), { "data-key": "delete", class: "danger" }),
    ),
    store.moving ? h("p", { class: "quiet" }, "Drag the mark, or use the arrow keys on the picture. Press Move again when done.") : null,
  );
}

/** Offered where an outline has so many corners that no hand can drag them. */
function fewerCorners(store: Store, mark: Mark): HTMLElement | null {
  const { shape } = mark;
  if (shape.type !== "Polygon" || openRing(shape.coordinates[0] ?? []).length <= MANY_CORNERS) return null;
  const coordinates = shape.coordinates.map((ring) => withFewerCorners(ring));
  return button("Fewer corners", () => store.changeMark(mark.id, { shape: { ...shape, coordinates } }, `simplify ${mark.id}`), {
    "data-key": "fewer-corners",
    title: "Leave out corners that hardly matter; the area stays within half a percent",
  });
}

function depths(context: MarksContext, mark: Mark): HTMLElement {
  const { store, units } = context;
  const list = mark.depths ?? [];
  const lines = list.map((reading) => {
    const mm = (value: number): string =>
      showLength(convert(value, units.doc, "mm"), units.shown);
    const sign = reading.relation === ">=" ? "≥ " : reading.relation === "<=" ? "≤ " : "";
    const method = METHODS.find(([key]) => key === reading.method)?.[1] ?? reading.method;
    const by = [method, reading.instrument].filter(Boolean).join(", ");
    return h(
      "li",
      {},
      h("span", {}, `${sign}${mm(reading.value)}, u ${mm(reading.u)}`, h("br"), h("span", { class: "quiet" }, by)),
      button(
        "Delete",
        () => {
          // By identity: the list may have grown since it was drawn.
          const now = store.mark(mark.id)?.depths ?? [];
          store.changeMark(mark.id, { depths: now.filter((one) => one !== reading) }, `delete a depth of ${mark.id}`);
        },
        { "aria-label": `Delete the depth ${mm(reading.value)}` },
      ),
    );
  });
  return h(
    "fieldset",
    { class: "group" },
    h("legend", {}, "Depth readings"),
    list.length > 0
      ? h("ul", { class: "readings" }, ...lines)
      : h("p", { class: "quiet" }, "None yet. A photo alone never gives a depth."),
    readingForm(context, mark),
  );
}

function formOf(id: string): ReadingForm {
  const form = forms.get(id) ?? {
    value: "",
    u: "",
    method: lastMethod,
    instrument: lastInstrument,
    relation: "=",
    error: "",
  };
  forms.set(id, form);
  return form;
}

function readingForm(context: MarksContext, mark: Mark): HTMLElement {
  const form = formOf(mark.id);
  const unit = context.units.shown;
  const text = (name: "value" | "u" | "instrument", decimal: boolean): HTMLInputElement => {
    const input = h("input", {
      type: "text",
      value: form[name],
      autocomplete: "off",
      inputmode: decimal ? "decimal" : null,
      "data-key": `depth-${name}`,
      "data-form": true,
      oninput: () => (form[name] = input.value),
      onkeydown: (event) => {
        if ((event as KeyboardEvent).key === "Enter") add();
      },
    });
    return input;
  };
  const value = text("value", true);
  const u = text("u", true);
  const instrument = text("instrument", false);
  instrument.setAttribute("list", "instruments");
  const error = h("p", { class: "error", role: "alert" }, form.error);
  error.hidden = !form.error;
  const method = select(METHODS, form.method, (picked) => (form.method = picked));
  method.dataset["key"] = "depth-method";
  const relation = select(RELATIONS, form.relation, (picked) => (form.relation = picked));
  relation.dataset["key"] = "depth-relation";
  const from = mark.kind === "blend-out" && !mark.measured_from ? measuredFrom(context, mark, form) : null;
  const add = (): void => {
    form.error = addReading(context, mark, form);
    error.textContent = form.error;
    error.hidden = !form.error;
    const wrong: HTMLElement | null = /depth/.test(form.error) ? value : /uncertainty/.test(form.error) ? u : null;
    for (const input of [value, u]) input.setAttribute("aria-invalid", String(input === wrong));
    wrong?.focus();
  };
  return h(
    "div",
    { class: "reading-form" },
    h(
      "div",
      { class: "fields" },
      field(`Depth (${unit})`, value),
      field(`Uncertainty u (${unit})`, u, "One sigma. Half of a ± that covers 95 %."),
      field("Read by", method),
      field("Instrument", instrument, context.instruments.length > 0 ? "" : "Its number, such as DG-2."),
      field("The reading", relation),
    ),
    from,
    error,
    h("div", { class: "actions" }, button("Add reading", add, { class: "main", "data-key": "depth-add" })),
  );
}

/** Add what the form holds; returns what is wrong, or "". */
function addReading(context: MarksContext, mark: Mark, form: ReadingForm): string {
  const { store, units } = context;
  const shown = parseNumber(form.value);
  const doubt = parseNumber(form.u);
  const wrongValue = faultOf(form.value, { required: true, least: 0 });
  if (wrongValue) return `Depth: ${wrongValue}`.replace("Depth", "The depth");
  const wrongDoubt = faultOf(form.u, { required: true, least: 0 });
  if (wrongDoubt) return `The uncertainty: ${wrongDoubt}`;
  if (!form.method) return "Choose what it was read by.";
  const now = store.mark(mark.id) ?? mark;
  if (now.kind === "blend-out" && !now.measured_from) return "Say what it was measured from, just above.";
  const instrument = form.instrument.trim();
  const reading: DepthReading = {
    value: convert(shown ?? 0, units.shown, units.doc),
    u: convert(doubt ?? 0, units.shown, units.doc),
    method: form.method,
    relation: form.relation,
    ...(instrument ? { instrument } : {}),
  };
  [lastMethod, lastInstrument] = [form.method, instrument];
  forms.delete(mark.id);
  store.changeMark(mark.id, { depths: [...(now.depths ?? []), reading] }, `add a depth to ${mark.id}`);
  return "";
}

function choices(
  name: string,
  legend: string,
  options: readonly (readonly [string, string, string])[],
  current: string | null | undefined,
  onPick: (value: string) => void,
): HTMLElement {
  const items = options.map(([value, words, help]) => {
    const input = h("input", { type: "radio", name, value, "data-key": `${name}-${value}`, onchange: () => onPick(value) });
    input.checked = current === value;
    return h("label", { class: "check" }, input, h("span", {}, h("strong", {}, words), `: ${help}`));
  });
  return h("fieldset", { class: "group" }, h("legend", {}, legend), ...items);
}

function measuredFrom({ store }: MarksContext, mark: Mark, form?: ReadingForm): HTMLElement {
  return choices("measured-from", "Depth measured from", FROM, mark.measured_from, (value) => {
    if (form) form.error = "";
    store.changeMark(mark.id, { measured_from: value }, `set what ${mark.id} is measured from`);
  });
}

function blend(context: MarksContext, mark: Mark): HTMLElement {
  const { store, units } = context;
  const profile = choices("profile", "Shape of the blend-out", PROFILES, mark.profile ?? "flat", (value) => {
    // The ratio is never guessed: "faired" is taken once it is entered.
    if (value === "faired" && !mark.run_out) askRatio.hidden = false;
    else store.changeMark(mark.id, { profile: value }, `set the shape of ${mark.id}`);
  });
  const total = mark.run_out?.total ?? (mark.run_out?.per_side ? 2 * mark.run_out.per_side : null);
  const askRatio = h(
    "div",
    {},
    numberField(
      {
        key: "run-out",
        label: "Run-out, total length to depth",
        help: total ? `${fieldText(total)}:1 in all, which is ${fieldText(total / 2)}:1 on each side.` : "20 means 20:1 in all, which is 10:1 on each side.",
        value: total,
        type: "number",
        above: 0,
        required: true,
        onValue: (value) => {
          if (value !== null) {
            store.changeMark(mark.id, { profile: "faired", run_out: { total: value } }, `set the run-out of ${mark.id}`);
          }
        },
      },
      units,
    ),
  );
  askRatio.hidden = mark.profile !== "faired";
  return h("div", {}, mark.measured_from ? measuredFrom(context, mark) : null, profile, askRatio);
}

function nameField(store: Store, mark: Mark): HTMLElement {
  const error = h("p", { class: "error", role: "alert", hidden: true });
  const input = h("input", {
    type: "text",
    value: mark.id,
    maxlength: 80,
    "data-key": "mark-name",
    onchange: () => {
      const form = forms.get(mark.id);
      const wrong = store.renameMark(mark.id, input.value);
      input.defaultValue = input.value;
      error.hidden = !wrong;
      error.textContent = wrong;
      input.setAttribute("aria-invalid", String(Boolean(wrong)));
      if (wrong || !form) return;
      // A reading that is typed but not added yet goes with its mark.
      forms.delete(mark.id);
      forms.set(input.value.trim(), form);
    },
  });
  return h("div", {}, field("Name", input, "As chalked beside it on the metal, such as P7."), error);
}

function about({ store }: MarksContext, mark: Mark): HTMLElement {
  const kinds = (Object.keys(LOOKS) as MarkKind[]).map((kind) => [kind, LOOKS[kind].words] as const);
  const refused = h("p", { class: "error", role: "alert", hidden: true });
  const kind = select(kinds, mark.kind, (value) => {
    if (value === "blend-out" && (mark.depths ?? []).length > 0 && !mark.measured_from) {
      // The service would refuse it, and dropping the readings silently would lose work.
      kind.value = mark.kind;
      refused.hidden = false;
      refused.textContent =
        "Its depth readings do not say what they were measured from, as a blend-out's must. " +
        "Delete the readings, change the kind, then enter them again.";
      return;
    }
    store.changeMark(mark.id, { kind: value as MarkKind }, `make ${mark.id} a ${value}`);
  });
  kind.dataset["key"] = "mark-kind";
  const text = (name: "feature" | "note" | "date", type: string): HTMLInputElement => {
    const input = h("input", {
      type,
      value: mark[name] ?? "",
      "data-key": `mark-${name}`,
      maxlength: name === "note" ? 4000 : 80,
      onchange: () => {
        input.defaultValue = input.value;
        const value = input.value.trim();
        store.changeMark(mark.id, { [name]: name === "note" ? value : value || null }, `edit ${mark.id}`);
      },
    });
    return input;
  };
  return folding(
    aboutOpen,
    (open) => (aboutOpen = open),
    { class: "about" },
    h("summary", { "data-key": "about-box" }, "Kind, name, feature, date, note"),
    h(
      "div",
      { class: "fields" },
      h("div", {}, field("Kind", kind), refused),
      nameField(store, mark),
      field("Feature", text("feature", "text"), "The same name on two photos of one thing: it counts once."),
      field("Date", text("date", "date"), "When it was read or blended."),
      field("Note", text("note", "text")),
    ),
  );
}
