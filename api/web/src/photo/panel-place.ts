// The panel that puts the photo on its member: which member and face, and the point pairs.
import type { Px } from "../geometry";
import { FEWEST_PAIRS, letter, placementLacks } from "./complete";
import { button, field, h, select } from "./dom";
import { numberField } from "./fields";
import type { PanelContext } from "./panel-scale";
import { fitSection, missOf, placedNow } from "./placed";
import type { Store } from "./store";
import type { Face, Member, PhotoPart, Placed, Placement } from "./types";

export interface PlaceContext extends PanelContext {
  members: readonly Member[];
}

const NOWHERE = [null, null] as unknown as Px;

export function placePanel(context: PlaceContext): HTMLElement[] {
  const { store, measures, units } = context;
  const photo = context.photo();
  const placement = store.doc.placement;
  const lacks = placementLacks(placement);
  const placed = placement && !lacks ? placedNow(measures, placement.image.length) : null;
  return [
    h("h2", {}, "Place on the layout"),
    h("p", {}, "Say which member and face this is, then pair points that you can find both on the photo and on the layout: fasteners, corners, station marks. Two pairs or more, far apart."),
    tags(context, photo),
    !photo.member ? h("p", { class: "notice" }, "Choose the member first; its layout then shows beside the photo.") : null,
    photo.member ? pairList(context, placement, placed) : null,
    lacks ? h("p", { class: "notice warn", role: "status" }, lacks) : null,
    placement && placement.image.length === FEWEST_PAIRS && !lacks
      ? h("p", { class: "quiet" }, "Two pairs place the photo but check nothing. A third shows a misplaced point.")
      : null,
    placed ? fitSection(placed, measures, units.shown) : null,
    !store.doc.scale ? h("p", { class: "quiet" }, "Without a scale reference four pairs are needed.") : null,
  ].filter((one): one is HTMLElement => one !== null);
}

function tags({ members, onTag }: PlaceContext, photo: PhotoPart): HTMLElement {
  const memberSelect = select(
    [["", "choose"], ...members.map((m) => [m.id, m.name ? `${m.id} · ${m.name}` : `${m.id} · ${m.kind}`] as const)],
    photo.member ?? "",
    (value) => onTag({ member: value || null }),
  );
  memberSelect.dataset["key"] = "place-member";
  const faceSelect = select(
    [["", "choose"], ["outer", "outer face"], ["inner", "inner face"]],
    photo.face ?? "",
    (value) => onTag({ face: (value || null) as Face | null }),
  );
  faceSelect.dataset["key"] = "place-face";
  return h("div", { class: "fields" }, field("Member", memberSelect), field("Face", faceSelect));
}

function pairList(context: PlaceContext, placement: Placement | null, placed: Placed | null): HTMLElement {
  const { store, units } = context;
  const rows = (placement?.image ?? []).map((_, i) => {
    const place = (placement?.layout[i] ?? NOWHERE) as (number | null)[];
    const cell = (axis: 0 | 1, label: string): HTMLElement =>
      numberField(
        {
          key: `pair-${i}-${axis}`,
          label,
          value: place[axis],
          type: "length",
          required: true,
          onValue: (value) => {
            // Of now, not of when the row was drawn: the other coordinate may have been typed since.
            const [station, offset] = (store.doc.placement?.layout[i] ?? NOWHERE) as (number | null)[];
            setPlace(store, i, axis === 0 ? [value, offset ?? null] : [station ?? null, value]);
          },
        },
        units,
      );
    return h(
      "li",
      {},
      h("strong", {}, letter(i)),
      cell(0, "Station"),
      cell(1, "Offset"),
      button("Delete", () => removePair(store, i), { "aria-label": `Delete point pair ${letter(i)}`, "data-key": `pair-${i}-delete` }),
      placed && missOf(placed, i, units.shown),
    );
  });
  return h(
    "div",
    {},
    h(
      "div",
      { class: "actions" },
      button("Add a point pair", () => store.setTool({ name: "pair" }), {
        class: "main",
        "data-key": "pair-add",
        "aria-pressed": String(store.tool.name === "pair"),
      }),
    ),
    rows.length > 0 ? h("ol", { class: "pairs" }, ...rows) : null,
  );
}

/** Start a pair at a point of the photo; its place on the layout follows. */
export function addPair(store: Store, at: Px): void {
  const now = store.doc.placement;
  const placement = { ...now, image: [...(now?.image ?? []), at], layout: [...(now?.layout ?? []), NOWHERE] };
  store.setPlacement(placement, `set point ${letter(placement.image.length - 1)} on the photo`);
}

/** The pair whose place on the layout is still to be set, -1 if none. */
export function openPair(placement: Placement | null): number {
  return (placement?.layout ?? []).findIndex((place) => place[0] === null || place[1] === null);
}

export function setPlace(store: Store, index: number, place: readonly (number | null)[]): void {
  const now = store.doc.placement;
  if (!now) return;
  const layout = now.layout.map((old, i) => (i === index ? (place as Px) : old));
  store.setPlacement({ ...now, layout }, `set point ${letter(index)} on the layout`);
}

function removePair(store: Store, index: number): void {
  const now = store.doc.placement;
  if (!now) return;
  const keep = <T>(list: T[]): T[] => list.filter((_, i) => i !== index);
  const image = keep(now.image);
  store.setPlacement(
    image.length > 0 ? { ...now, image, layout: keep(now.layout) } : null,
    `delete point pair ${letter(index)}`,
  );
}
