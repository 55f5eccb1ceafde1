// How the photo was taken: what binds it to a lens profile, and whether the surface is flat or a cylinder.
import type { Px } from "../geometry";
import { post } from "../client";
import { addLens, readHead } from "../lenses";
import { button, field, folding, h, select } from "./dom";
import { numberField } from "./fields";
import type { ScaleContext } from "./panel-scale";
import type { LensName, PhotoPart } from "./types";

interface Cylinder {
  kind: "cylinder";
  radius: number;
  u_radius?: number | null;
  axis?: [Px, Px] | null;
  seen_from?: "outside" | "inside";
}

let opened = false;

export const cylinderOf = (photo: PhotoPart): Cylinder | null => (photo["surface"] as Cylinder | null | undefined) ?? null;

export function takenBox(context: ScaleContext): HTMLElement {
  const photo = context.photo();
  const stated = ["lens", "device", "adapter", "focus", "surface"].some((name) => Boolean(photo[name]));
  return folding(
    opened || stated,
    (open) => (opened = open),
    { class: "about" },
    h("summary", { "data-key": "taken-box" }, "How it was taken: lens, curved surface"),
    h("div", { class: "stack" }, lensField(context, photo), edgeBox(context, photo), ...words(context, photo), surfaceBox(context, photo)),
  );
}

/** Make a rough profile from a straight edge, keep it in the survey, and return its name. */
export async function straightenBy(photo: string, survey: string, name: string, points: readonly Px[]): Promise<LensName> {
  const head = await readHead(survey);
  const taken = new Set(head.body.lenses.map((one) => one.id));
  let id = `${name} edge`.slice(0, 70);
  for (let n = 2; taken.has(id); n += 1) id = `${name} edge`.slice(0, 70) + ` ${n}`;
  const made = (await post<LensName>(`/api/photos/${photo}/straighten`, { id, points })).body;
  await addLens(survey, head, made);
  return made;
}

function lensField({ lenses, onTag }: ScaleContext, photo: PhotoPart): HTMLElement {
  const current = String(photo["lens"] ?? "");
  const named = (one: LensName): readonly [string, string] => [one.id, [one.id, one.device, one.adapter].filter(Boolean).join(" · ")];
  const made = select([["", "none: the picture counts as straight"], ...lenses.map(named)], current, (value) => onTag({ lens: value || null }));
  made.dataset["key"] = "taken-lens";
  const help =
    lenses.length > 0
      ? "A borescope's picture is bent; without its profile sizes are wrong."
      : "This survey has no lens profile. Its Lenses page makes one from pictures of a board.";
  return field("Lens profile", made, help);
}

/** The way out where no board was photographed: one edge that is straight in fact. */
function edgeBox({ store }: ScaleContext, photo: PhotoPart): HTMLElement | null {
  if (photo["lens"]) return null;
  return h(
    "div",
    { class: "actions" },
    button("Straighten by an edge", () => store.setTool({ name: "edge" }), {
      "data-key": "taken-edge",
      title: "Without a profile: click along one edge that is straight in fact. It is rough, and the doubt is added.",
    }),
  );
}

const WORDS: readonly [string, string, string][] = [
  ["device", "Device", "Camera, phone or borescope, as the lens profile names it."],
  ["adapter", "Adapter or tip", "What is screwed on to it."],
  ["focus", "Focus", "Its setting, such as near or fixed."],
];

function words({ onTag }: ScaleContext, photo: PhotoPart): HTMLElement[] {
  return WORDS.map(([name, label, help]) => {
    const input = h("input", {
      type: "text",
      value: String(photo[name] ?? ""),
      maxlength: 400,
      autocomplete: "off",
      "data-key": `taken-${name}`,
      onchange: () => {
        input.defaultValue = input.value;
        onTag({ [name]: input.value.trim() });
      },
    });
    return field(label, input, help);
  });
}

function surfaceBox({ store, units, onTag }: ScaleContext, photo: PhotoPart): HTMLElement {
  const surface = cylinderOf(photo);
  const set = (changes: Partial<Cylinder>): void => {
    const now = cylinderOf(photo);
    if (now) onTag({ surface: { ...now, ...changes } });
  };
  const inside = surface?.seen_from === "inside";
  const radius = numberField(
    {
      key: "taken-radius",
      label: inside ? "Inside radius of the tube or curve" : "Outside radius of the tube or edge",
      help: "Empty: the surface is flat. With a radius the marks are unrolled from the cylinder.",
      value: surface?.radius,
      type: "length",
      above: 0,
      onValue: (value) => onTag({ surface: value === null ? null : { kind: "cylinder", ...surface, radius: value } }),
    },
    units,
  );
  if (!surface) return h("fieldset", { class: "group" }, h("legend", {}, "Curved surface"), radius);
  const doubt = numberField(
    { key: "taken-u-radius", label: "Uncertainty u of the radius", help: "One sigma.", value: surface.u_radius, type: "length", least: 0, onValue: (value) => set({ u_radius: value }) },
    units,
  );
  return h(
    "fieldset",
    { class: "group" },
    h("legend", {}, "Curved surface"),
    radius,
    doubt,
    sideField(inside, (seen) => set({ seen_from: seen })),
    h("p", { class: "quiet" }, "Where the flat scale reference touches the tube, the middle line runs along it."),
    h(
      "div",
      { class: "actions" },
      button(surface.axis ? "Set the middle line again" : "Set the middle line", () => store.setTool({ name: "axis" }), { "data-key": "taken-axis" }),
    ),
  );
}

function sideField(inside: boolean, onSide: (seen: "outside" | "inside") => void): HTMLElement {
  const sides = [
    ["outside", "the outside: it bulges"],
    ["inside", "the inside: it is hollow"],
  ] as const;
  const made = select(sides, inside ? "inside" : "outside", (value) => onSide(value === "inside" ? "inside" : "outside"));
  made.dataset["key"] = "taken-side";
  const help = inside
    ? "Lay the scale along the tube. A card across it stands on its edges: enter how high it stands over the middle line as the scale's height."
    : "A leading edge or the outside of a tube. Choose the inside for a picture taken in a tube or of a hollow skin.";
  return field("The picture shows", made, help);
}
