// The panel of the scale reference: choose a kind, click its points, enter what is known of it.
import type { Px } from "../geometry";
import { convert, fieldText, parseNumber } from "../units";
import { button, field, h } from "./dom";
import { numberField, type Units } from "./fields";
import { flagsOf, type Measures } from "./measures";
import { imageOf, SCALE_KINDS, type ScaleField, scaleKind, type ScaleKind, scaleLacks } from "./scales";
import type { Store } from "./store";
import type { PhotoPart, ScaleRef } from "./types";

export interface PanelContext {
  store: Store;
  units: Units;
  measures: Measures;
  photo: () => PhotoPart;
  /** Change tags of the photo; what went wrong is said by the page. */
  onTag: (changes: Record<string, unknown>) => void;
}

export function scalePanel(context: PanelContext): HTMLElement[] {
  const { store } = context;
  const { scale } = store.doc;
  const setting = store.tool.name === "reference" ? store.tool.kind : null;
  return [
    h("h2", {}, "Scale reference"),
    h(
      "p",
      {},
      "Something of known size in the picture turns pixels into millimetres. It has to lie in the surface that you measure.",
    ),
    kindPicker(context, setting ?? scale?.kind ?? null),
    ...(scale ? scaleForm(context, scale) : []),
  ];
}

function kindPicker({ store }: PanelContext, current: string | null): HTMLElement {
  const shown = scaleKind(current ?? "");
  const inUse = store.doc.scale?.kind;
  const buttons = SCALE_KINDS.map((kind) =>
    button(
      inUse === kind.kind ? `${kind.label}: set again` : kind.label,
      () => store.setTool({ name: "reference", kind: kind.kind }),
      {
        "aria-pressed": String(store.tool.name === "reference" && store.tool.kind === kind.kind),
        "data-key": `kind-${kind.kind}`,
      },
    ),
  );
  const other = inUse && !scaleKind(inUse) ? h("p", {}, `Set by the program: ${inUse}.`) : null;
  return h(
    "div",
    {},
    h("div", { class: "actions", role: "group", "aria-label": "Kind of scale reference" }, ...buttons),
    other,
    shown ? h("p", { class: "quiet" }, shown.explain) : h("p", { class: "quiet" }, "Choose a kind, then click it in the picture."),
  );
}

function scaleForm(context: PanelContext, scale: ScaleRef): HTMLElement[] {
  const { store, measures } = context;
  const kind = scaleKind(scale.kind);
  const lacks = scaleLacks(scale);
  const known = measures.now?.scale_kind === scale.kind && !lacks ? measures.now : null;
  return [
    lacks ? h("p", { class: "notice warn", role: "status" }, lacks) : null,
    kind ? fieldsOf(context, scale, kind) : null,
    kind?.perPoint ? planeTable(context, scale, kind) : null,
    known && Object.keys(known.scale).length > 0 ? measures.list(known.scale) : null,
    known ? measures.doubts([...known.flags, ...flagsOf(known.scale)]) : null,
    !lacks && measures.problem ? h("p", { class: "notice problem" }, measures.problem) : null,
    h(
      "div",
      { class: "actions" },
      button("Remove the reference", () => store.setScale(null, "remove the scale"), { "data-key": "scale-remove" }),
    ),
  ].filter((one): one is HTMLElement => one !== null);
}

function fieldsOf(context: PanelContext, scale: ScaleRef, kind: ScaleKind): HTMLElement {
  const made = (more: boolean): HTMLElement[] =>
    kind.fields.filter((one) => Boolean(one.more) === more).map((one) => scaleField(context, scale, one));
  const raised = h("details", { class: "about" }, h("summary", {}, "It does not lie flush with the metal"), ...made(true), distanceField(context));
  raised.open = Boolean(scale["height"] || scale["u_height"] || raisedOpen);
  raised.addEventListener("toggle", () => (raisedOpen = raised.open));
  return h("div", { class: "stack" }, ...made(false), raised);
}

let raisedOpen = false;

function distanceField({ photo, onTag, units }: PanelContext): HTMLElement {
  const stated = photo()["distance"] as { value: number; u: number } | null | undefined;
  return numberField(
    {
      key: "distance",
      label: "Distance from the lens to the metal",
      help: "Corrects for the height of the reference; without it the height only widens the uncertainty.",
      value: stated?.value,
      type: "length",
      above: 0,
      onValue: (value) => onTag({ distance: value === null ? null : { value, u: stated?.u ?? 0 } }),
    },
    units,
  );
}

function scaleField(context: PanelContext, scale: ScaleRef, spec: ScaleField): HTMLElement {
  const { store, units } = context;
  const set = (value: unknown): void =>
    store.setScale({ ...(store.doc.scale ?? scale), [spec.key]: value }, `set the ${spec.label.toLowerCase()}`);
  if (spec.type === "pair") return pairField(context, scale, spec, set);
  // Fields with a plain number default do not take null.
  const empty = spec.key === "height" || spec.key === "u_height" || spec.key === "u_scale" ? 0 : null;
  const stated = scale[spec.key] as number | null | undefined;
  return numberField(
    {
      key: `scale-${spec.key}`,
      label: spec.label,
      help: spec.help,
      value: empty === 0 && stated === 0 ? null : stated,
      type: spec.type,
      required: spec.required,
      ...(spec.required ? { above: 0 } : { least: 0 }),
      ...(spec.type === "angle" ? { most: 89 } : {}),
      onValue: (value) => set(value ?? empty),
    },
    units,
  );
}

function pairField(
  { units }: PanelContext,
  scale: ScaleRef,
  spec: ScaleField,
  set: (value: unknown) => void,
): HTMLElement {
  const pair = scale[spec.key] as Px | null | undefined;
  const shown = pair?.map((v) => fieldText(convert(v, units.doc, units.shown))).join(" × ") ?? "";
  const error = h("p", { class: "error", role: "alert", hidden: true });
  const input = h("input", {
    type: "text",
    value: shown,
    autocomplete: "off",
    "data-key": `scale-${spec.key}`,
    onchange: () => {
      const parts = input.value.split(/[x×*;]/i).map((part) => parseNumber(part));
      const blank = input.value.trim() === "";
      input.defaultValue = input.value;
      const right = blank || (parts.length === 2 && parts.every((v) => v !== null && v > 0));
      error.hidden = right;
      error.textContent = right ? "" : "Write two numbers with × or x between them, like 80 × 50.";
      input.setAttribute("aria-invalid", String(!right));
      if (right && input.value !== shown) {
        set(blank ? null : parts.map((v) => convert(v ?? 0, units.shown, units.doc)));
      }
    },
  });
  const made = field(`${spec.label} (${units.shown})`, input, spec.help);
  made.append(error);
  return made;
}

function planeTable(context: PanelContext, scale: ScaleRef, kind: ScaleKind): HTMLElement {
  const { store, units } = context;
  const key = kind.perPoint ?? "plane";
  const plane = (scale[key] as (Px | null)[] | undefined) ?? [];
  const rows = imageOf(scale).map((_, i) => {
    const cell = (axis: 0 | 1): HTMLElement =>
      numberField(
        {
          key: `plane-${i}-${axis}`,
          label: `Point ${i + 1}, ${axis === 0 ? "along" : "across"}`,
          value: plane[i]?.[axis],
          type: "length",
          required: true,
          onValue: (value) => {
            const now = store.doc.scale ?? scale;
            const places = imageOf(now).map((__, j) => [...(((now[key] as Px[]) ?? [])[j] ?? [null, null])]);
            const place = places[i];
            if (place) place[axis] = value;
            store.setScale({ ...now, [key]: places }, `place point ${i + 1}`);
          },
        },
        units,
      );
    return h("div", { class: "pair" }, cell(0), cell(1));
  });
  return h(
    "fieldset",
    { class: "group" },
    h("legend", {}, "Where the points are on the surface"),
    h("p", { class: "quiet" }, "Distances from any one corner, along and across; all on the same flat surface."),
    ...rows,
  );
}

/** A fresh reference of a kind; what was known of an earlier one of the kind is kept. */
export function newScale(kind: string, points: Px[], before: ScaleRef | null): ScaleRef {
  const kept = before?.kind === kind ? { ...before } : {};
  delete (kept as Record<string, unknown>)["edges"];
  const made: ScaleRef = { ...kept, kind, image: points };
  const perPoint = scaleKind(kind)?.perPoint;
  if (perPoint) {
    const old = (before?.kind === kind ? (before[perPoint] as Px[]) : []) ?? [];
    made[perPoint] = points.map((_, i) => old[i] ?? [null, null]);
  }
  return made;
}
