// The panel of the scale reference: choose a kind, click its points, enter what is known of it.
import type { Px } from "../geometry";
import { convert, fieldText, parseNumber } from "../units";
import { button, field, folding, h, select } from "./dom";
import { numberField, type Units } from "./fields";
import { flagsOf, type Measures } from "./measures";
import type { ScaleFinder } from "./finder";
import type { ScaleField, ScaleKind, Way } from "./scale-kind";
import { SCALE_KINDS } from "./scale-kinds";
import { canFind, fieldsOf, imageOf, isFound, newScale, scaleKind, scaleLacks, valueOf, withValue } from "./scales";
import type { Store } from "./store";
import { takenBox } from "./panel-taken";
import type { LensName, PhotoPart, ScaleRef } from "./types";

export interface PanelContext {
  store: Store;
  units: Units;
  measures: Measures;
  photo: () => PhotoPart;
  /** Change tags of the photo; what went wrong is said by the page. */
  onTag: (changes: Record<string, unknown>) => void;
}

export interface ScaleContext extends PanelContext {
  finder: ScaleFinder;
  lenses: readonly LensName[];
}

export function scalePanel(context: ScaleContext): HTMLElement[] {
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
    takenBox(context),
  ];
}

function kindPicker({ store }: ScaleContext, current: string | null): HTMLElement {
  const shown = scaleKind(current ?? "");
  const inUse = store.doc.scale?.kind;
  const buttons = SCALE_KINDS.map((kind) => {
    const again = inUse === kind.kind && kind.ways.length > 0;
    return button(again ? `${kind.label}: set again` : kind.label, () => start(store, kind, kind.ways[0]), {
      "aria-pressed": String(isDrawn(store, kind, kind.ways[0]) || (inUse === kind.kind && kind.ways.length === 0)),
      "data-key": `kind-${kind.kind}`,
    });
  });
  const other = inUse && !scaleKind(inUse) ? h("p", {}, `Set by the program: ${inUse}.`) : null;
  return h(
    "div",
    {},
    h("div", { class: "actions", role: "group", "aria-label": "Kind of scale reference" }, ...buttons),
    other,
    shown ? h("p", { class: "quiet" }, shown.explain) : h("p", { class: "quiet" }, "Choose a kind, then click it in the picture."),
    shown && shown.ways.length > 1 ? wayPicker(store, shown) : null,
  );
}

function wayPicker(store: Store, kind: ScaleKind): HTMLElement {
  const usable = kind.ways.filter((way) => !way.adds || store.doc.scale?.kind === kind.kind);
  const buttons = usable.map((way) =>
    button(way.label, () => start(store, kind, way), {
      "aria-pressed": String(isDrawn(store, kind, way)),
      "data-key": `way-${way.key}`,
    }),
  );
  return h("div", { class: "actions", role: "group", "aria-label": "How to set it" }, ...buttons);
}

const isDrawn = ({ tool }: Store, kind: ScaleKind, way: Way | undefined): boolean =>
  tool.name === "reference" && tool.kind === kind.kind && tool.way === way?.key;

/** Take the kind's tool in hand; a kind that needs no click is there at once. */
function start(store: Store, kind: ScaleKind, way: Way | undefined): void {
  if (way) store.setTool({ name: "reference", kind: kind.kind, way: way.key });
  else if (store.doc.scale?.kind !== kind.kind) {
    store.setTool({ name: "look" });
    store.setScale(newScale(kind.kind, undefined, [], null), `choose ${kind.label.toLowerCase()}`);
  }
}

function scaleForm(context: ScaleContext, scale: ScaleRef): HTMLElement[] {
  const { store, measures } = context;
  const kind = scaleKind(scale.kind);
  const lacks = scaleLacks(scale);
  const known = measures.now?.scale_kind === scale.kind && !lacks ? measures.now : null;
  const waits = canFind(scale) && !isFound(scale);
  return [
    lacks ? h("p", { class: "notice warn", role: "status" }, lacks) : null,
    kind ? scaleFields(context, scale, kind) : null,
    kind?.perPoint ? planeTable(context, scale, kind.perPoint) : null,
    kind?.finds && canFind(scale) ? findBox(context, scale, kind.finds, lacks) : null,
    known && Object.keys(known.scale).length > 0 ? measures.list(known.scale) : null,
    known ? measures.doubts([...known.flags, ...flagsOf(known.scale)]) : null,
    !lacks && !waits && measures.problem ? h("p", { class: "notice problem" }, measures.problem) : null,
    h(
      "div",
      { class: "actions" },
      button("Remove the reference", () => store.setScale(null, "remove the scale"), { "data-key": "scale-remove" }),
    ),
  ].filter((one): one is HTMLElement => one !== null);
}

/** Find it, see what was found, use or drop it; a miss says so. */
function findBox(
  { finder, measures }: ScaleContext,
  scale: ScaleRef,
  finds: NonNullable<ScaleKind["finds"]>,
  lacks: string | null,
): HTMLElement {
  const { found, busy } = finder;
  // What only the print tells is not needed to find it.
  const ready = !lacks || finds.alone;
  const again = isFound(scale);
  const words = again
    ? `It was found: ${finds.what} ${finds.what.endsWith("s") ? "are" : "is"} drawn in the picture.`
    : `Not found yet: without ${finds.what} nothing can be measured by it.`;
  return h(
    "div",
    { class: "find group", "aria-busy": String(busy) },
    found || busy || finder.missed ? null : h("p", { class: again ? "quiet" : "notice warn" }, words),
    busy ? h("p", { role: "status" }, "Looking in the full picture…") : null,
    finder.missed ? h("p", { class: "notice problem", role: "alert" }, `Not found. ${finder.missed}`) : null,
    found
      ? h("p", { class: "notice", role: "status" }, `Found ${found.found}. The pink lines and dots in the picture show it: are they where they should be? Nothing is saved yet.`)
      : null,
    h(
      "div",
      { class: "actions" },
      found ? button("Use it", () => finder.use(), { class: "main", "data-key": "find-use" }) : null,
      found ? button("Drop it", () => finder.drop(), { "data-key": "find-drop" }) : null,
      found
        ? null
        : button(again ? "Find it again" : "Find it in the picture", () => void finder.find(scale), {
            class: again ? "" : "main",
            "data-key": "find-scale",
            disabled: busy || !ready,
          }),
    ),
    measures.busy || ready ? null : h("p", { class: "quiet" }, "Enter what is missing first."),
  );
}

function scaleFields(context: ScaleContext, scale: ScaleRef, kind: ScaleKind): HTMLElement {
  if (kind.fields.some((one) => one.options)) context.finder.want();
  const made = (more: boolean): HTMLElement[] =>
    fieldsOf(kind, scale)
      .filter((one) => Boolean(one.more) === more)
      .map((one) => scaleField(context, scale, one));
  const raised = folding(
    // A coin stands up by its thickness: its distance matters as if a height were entered.
    Boolean(scale["height"] || scale["u_height"] || scale["coin"] || raisedOpen),
    (open) => (raisedOpen = open),
    { class: "about" },
    h("summary", { "data-key": "raised-box" }, "It does not lie flush, and other details"),
    ...made(true),
    distanceField(context),
  );
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

function scaleField(context: ScaleContext, scale: ScaleRef, spec: ScaleField): HTMLElement {
  const { store, units, finder } = context;
  const set = (value: unknown): void =>
    store.setScale(withValue(store.doc.scale ?? scale, spec, value), `set the ${spec.label.toLowerCase()}`);
  const help = typeof spec.help === "string" ? spec.help : spec.help(scale, finder.sizes, units.shown);
  if (spec.type === "pair") return pairField(context, scale, spec, set);
  if (spec.type === "ends") return endsField(context, scale, spec, help);
  if (spec.type === "choice") return choiceField(context, scale, spec, help, set);
  const stated = valueOf(scale, spec) as number | null | undefined;
  return numberField(
    {
      key: `scale-${spec.key}`,
      label: spec.label,
      help,
      value: spec.empty === 0 && stated === 0 ? null : stated,
      type: spec.type,
      required: spec.required,
      ...(spec.required ? { above: 0 } : { least: 0 }),
      ...(spec.type === "angle" ? { most: 89 } : {}),
      onValue: (value) => set(value ?? spec.empty ?? null),
    },
    units,
  );
}

function choiceField(
  { finder }: ScaleContext,
  scale: ScaleRef,
  spec: ScaleField,
  help: string,
  set: (value: unknown) => void,
): HTMLElement {
  const value = String(valueOf(scale, spec) ?? "");
  const listed = spec.options?.(finder.sizes) ?? [];
  // What was stated stays, also when it is not on the list or the list is not here.
  const options = listed.some(([key]) => key === value) ? listed : [...listed, [value, value] as const];
  const made = select(options, value, set);
  made.dataset["key"] = `scale-${spec.key}`;
  return field(spec.label, made, help);
}

function endsField({ store, units }: ScaleContext, scale: ScaleRef, spec: ScaleField, help: string): HTMLElement {
  const ends = (scale[spec.key] as (number | null)[] | null | undefined) ?? [null, null];
  const cell = (i: 0 | 1): HTMLElement =>
    numberField(
      {
        key: `scale-${spec.key}-${i}`,
        label: `At point ${i + 1}`,
        value: ends[i],
        type: "length",
        onValue: (value) => {
          const now = store.doc.scale ?? scale;
          const pair = [...((now[spec.key] as (number | null)[] | null) ?? [null, null])];
          pair[i] = value;
          store.setScale({ ...now, [spec.key]: pair.every((end) => end === null) ? null : pair }, "enter what the rule reads");
        },
      },
      units,
    );
  return h(
    "fieldset",
    { class: "group" },
    h("legend", {}, spec.label),
    h("p", { class: "quiet" }, help),
    h("div", { class: "pair" }, cell(0), cell(1)),
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
  const made = field(`${spec.label} (${units.shown})`, input, typeof spec.help === "string" ? spec.help : "");
  made.append(error);
  return made;
}

function planeTable(context: PanelContext, scale: ScaleRef, key: string): HTMLElement {
  const { store, units } = context;
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
