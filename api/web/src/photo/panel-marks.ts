// The panel of marks: what to draw and how, the list of what is there, the details of the selected one.
import { button, h } from "./dom";
import { markDetails } from "./mark-details";
import type { PanelContext } from "./panel-scale";
import { suggestBox } from "./panel-suggest";
import type { Suggestions } from "./suggestions";
import type { ShapeTool } from "./store";
import { LOOKS } from "./styles";
import type { Instrument, Mark, MarkKind } from "./types";

export interface MarksContext extends PanelContext {
  instruments: readonly Instrument[];
  suggestions: Suggestions;
  onShow: (id: string) => void;
  onDuplicate: (id: string) => void;
}

const SHAPES: readonly [ShapeTool, string][] = [
  ["polygon", "Corners"],
  ["ellipse", "Ellipse"],
  ["freehand", "Freehand"],
];
const KINDS: readonly [MarkKind, string][] = [
  ["pit", "The edge of one pit or pit cluster, not yet blended."],
  ["blend-out", "The edge of metal that was blended away."],
  ["affected", "The edge of the corroded area, pits and all."],
  ["clear", "An area you looked at closely and found clear."],
];

export function marksPanel(context: MarksContext): HTMLElement[] {
  const { store, measures } = context;
  const totals = measures.now?.totals ?? {};
  return [
    h("h2", {}, "Marks"),
    drawBox(context),
    suggestBox(store, context.suggestions),
    store.doc.scale ? null : h("p", { class: "notice warn" }, "No scale reference yet: you can mark, but nothing can be measured."),
    !store.doc.scale || !measures.problem ? null : h("p", { class: "notice problem" }, measures.problem),
    store.doc.marks.length === 0
      ? h("p", { class: "quiet" }, "Nothing is marked yet. Choose what you see, then draw along its edge in the picture.")
      : h("ul", { class: "marks" }, ...store.doc.marks.map((mark) => row(context, mark))),
    Object.keys(totals).length > 0 && store.doc.marks.length > 1
      ? h("section", {}, h("h3", {}, "Together"), measures.list(totals))
      : null,
  ].filter((one): one is HTMLElement => one !== null);
}

function drawBox({ store }: MarksContext): HTMLElement {
  const shapes = SHAPES.map(([shape, words]) => {
    const input = h("input", {
      type: "radio",
      name: "shape",
      value: shape,
      "data-key": `shape-${shape}`,
      onchange: () => {
        store.shape = shape;
        if (store.tool.name === "draw") store.setTool({ ...store.tool, shape });
      },
    });
    input.checked = store.shape === shape;
    return h("label", {}, input, h("span", {}, words));
  });
  const kinds = KINDS.map(([kind, help]) =>
    button(LOOKS[kind].words, () => store.setTool({ name: "draw", kind, shape: store.shape }), {
      title: help,
      class: `kind ${kind}`,
      "data-key": `draw-${kind}`,
      "aria-pressed": String(store.tool.name === "draw" && store.tool.kind === kind),
    }),
  );
  return h(
    "div",
    { class: "draw-box" },
    h("div", { class: "kinds", role: "group", "aria-label": "Draw" }, ...kinds),
    h("fieldset", { class: "segments" }, h("legend", {}, "Drawn by"), ...shapes),
  );
}

function row(context: MarksContext, mark: Mark): HTMLElement {
  const { store, measures } = context;
  const selected = store.selected === mark.id;
  const found = measures.of(mark.id);
  const area = found?.quantities["area"];
  const summary = found?.problem ? "cannot be measured" : area ? measures.text(area) : store.doc.scale ? "…" : "no scale";
  const head = h(
    "button",
    {
      type: "button",
      class: "mark-head",
      "aria-expanded": String(selected),
      "data-key": `mark-${mark.id}`,
      onclick: () => {
        store.select(selected ? null : mark.id);
        if (!selected) context.onShow(mark.id);
      },
    },
    h("span", { class: `swatch ${mark.kind}`, "aria-hidden": "true" }),
    h("span", { class: "mark-name" }, `${mark.id} · ${LOOKS[mark.kind].words}`),
    h("span", { class: "mark-size" }, summary),
  );
  return h("li", { class: selected ? "selected" : null }, head, selected && markDetails(context, mark));
}
