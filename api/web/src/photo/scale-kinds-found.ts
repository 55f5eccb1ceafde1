// Kinds of scale reference that the program finds in the picture: rule, disc, printed target.
import { showLength, type Unit } from "../units";
import { bothEnds, COMMON, type ScaleKind, SLANT, U_SCALE } from "./scale-kind";
import type { ReferenceSizes, ScaleRef } from "./types";

const isPlain = (scale: ScaleRef): boolean => Boolean(scale["dictionary"]);
const bar = (scale: ScaleRef): Record<string, number | null> =>
  (scale["check_bar"] as Record<string, number | null> | null | undefined) ?? {};
const setBar = (key: string) => (scale: ScaleRef, value: unknown): ScaleRef => ({
  ...scale,
  check_bar: { ...bar(scale), [key]: value as number | null },
});

function coinHelp(scale: ScaleRef, sizes: ReferenceSizes | null, unit: Unit): string {
  const coin = sizes?.coins.find((one) => one.name === scale["coin"]);
  if (!coin) return "A coin of published size, or any round disc whose diameter you know.";
  const size = `${showLength(coin.diameter_mm, unit)} across, ${showLength(coin.thickness_mm, unit)} thick`;
  return `${size} (${coin.source}). Its thickness is taken into account.`;
}

export const FOUND_KINDS: readonly ScaleKind[] = [
  {
    kind: "rule",
    label: "Rule",
    explain:
      "A graduated rule lying on the surface. Draw a line along it, across its ticks, over a long and sharp piece. " +
      "The program then finds the ticks; from how they close up it also sees how slanted the view is. " +
      "What the rule reads at both ends of your line tells when a tick was taken for another.",
    ways: [
      {
        key: "line",
        label: "Line along the rule",
        least: 2,
        most: 2,
        steps: [
          "Click on the rule's ticks, near one end of its sharp part.",
          "Click on the ticks near the other end, so that the line crosses every tick between.",
        ],
        drawn: "line",
        into: "image",
      },
    ],
    fields: [
      {
        key: "tick",
        label: "From one tick to the next",
        help: "Of the finest ticks that your line crosses, such as 1 mm or 0.5 mm.",
        type: "length",
        required: true,
      },
      {
        key: "labels",
        label: "What the rule reads at the ends",
        help: "At point 1 and point 2 of the line, read off the picture.",
        type: "ends",
        required: false,
      },
      { ...U_SCALE, help: "Of the graduation; empty for the usual tolerance of a steel rule.", more: true },
      { ...SLANT, more: true },
      ...COMMON,
    ],
    wrong: bothEnds,
    finds: { what: "the ticks", into: ["ticks"] },
  },
  {
    kind: "disc",
    label: "Coin or disc",
    explain:
      "A coin or another round disc lying flat. Click anywhere inside it and the program finds its rim; " +
      "if it misses, set points round the rim yourself. A circle seen at a slant looks the same from two sides: " +
      "if you know which side is farther from the lens, say so.",
    ways: [
      {
        key: "inside",
        label: "Click inside it",
        least: 1,
        most: 1,
        steps: ["Click inside the disc, not on its rim."],
        drawn: "points",
        into: "seed",
      },
      {
        key: "rim",
        label: "Points round its rim",
        least: 8,
        most: 60,
        steps: ["Click points all round the outer rim, eight or more, then press Finish."],
        drawn: "points",
        into: "image",
      },
      {
        key: "far",
        label: "Farther side",
        least: 1,
        most: 1,
        steps: ["Click a point on the side where the surface is farther from the lens."],
        drawn: "points",
        into: "far",
        adds: true,
      },
    ],
    fields: [
      {
        key: "coin",
        label: "Coin",
        help: coinHelp,
        type: "choice",
        required: false,
        options: (sizes) => [
          ["", "another disc: enter its diameter"],
          ...(sizes?.coins ?? []).map((coin) => [coin.name, coin.name] as const),
        ],
        set: (scale, value) => ({ ...scale, coin: value || null, ...(value ? { diameter: null, u_diameter: null } : {}) }),
      },
      {
        key: "diameter",
        label: "Diameter",
        help: "From its drawing or measured with a calliper. No published size is on file for fastener heads.",
        type: "length",
        required: true,
        when: (scale) => !scale["coin"],
      },
      {
        key: "u_diameter",
        label: "Tolerance of the diameter",
        help: "Standard uncertainty (one sigma).",
        type: "length",
        required: false,
        when: (scale) => !scale["coin"],
      },
      SLANT,
      ...COMMON,
    ],
    finds: { what: "the rim", into: ["image", "sigma_px", "u_edge_px"] },
  },
  {
    kind: "target",
    label: "Printed target",
    explain:
      "A printed sheet of this program, or a plain square marker of known size, lying on the surface. " +
      "Nothing has to be drawn: the program finds it. It also shows how slanted the view is. " +
      "Printers stretch paper, so measure the sheet's check bars with a rule.",
    ways: [],
    fields: [
      {
        key: "what",
        label: "What was laid down",
        help: "",
        type: "choice",
        required: true,
        options: () => [["sheet", "a printed sheet of this program"], ["plain", "a plain square marker"]],
        get: (scale) => (isPlain(scale) ? "plain" : "sheet"),
        set: (scale, value) =>
          value === "plain"
            ? { ...scale, sheet: null, check_bar: null, dictionary: "4x4_50" }
            : { ...scale, side: null, u_side: null, dictionary: null, marker: null },
      },
      {
        key: "sheet",
        label: "Sheet",
        help: "Its name is printed on it.",
        type: "choice",
        required: false,
        when: (scale) => !isPlain(scale),
        options: (sizes) => [
          ["", "tell by its markers"],
          ...(sizes?.sheets ?? []).map((sheet) => [sheet.name, `${sheet.name}: ${sheet.title}`] as const),
        ],
        set: (scale, value) => ({ ...scale, sheet: value || null }),
      },
      {
        key: "check_bar_x",
        label: "Check bar across, as measured",
        help: (_, sizes, unit) => `Drawn ${showLength(sizes?.check_bar_mm ?? 100, unit)} long; measure it on your print.`,
        type: "length",
        required: true,
        when: (scale) => !isPlain(scale),
        get: (scale) => bar(scale)["x"],
        set: setBar("x"),
      },
      {
        key: "check_bar_y",
        label: "Check bar upwards, as measured",
        help: "Empty: taken as the other, with more doubt.",
        type: "length",
        required: false,
        when: (scale) => !isPlain(scale),
        get: (scale) => bar(scale)["y"],
        set: setBar("y"),
      },
      {
        key: "check_bar_u",
        label: "Tolerance of measuring them",
        help: "Standard uncertainty (one sigma).",
        type: "length",
        required: false,
        more: true,
        when: (scale) => !isPlain(scale),
        get: (scale) => bar(scale)["u"],
        set: setBar("u"),
      },
      {
        key: "side",
        label: "Side of the black square",
        help: "As measured on the print.",
        type: "length",
        required: true,
        when: isPlain,
      },
      {
        key: "u_side",
        label: "Tolerance of the side",
        help: "Standard uncertainty (one sigma).",
        type: "length",
        required: false,
        when: isPlain,
      },
      {
        key: "dictionary",
        label: "Marker family",
        help: "The dictionary it was printed from.",
        type: "choice",
        required: true,
        when: isPlain,
        options: (sizes) => (sizes?.dictionaries ?? ["4x4_50"]).map((name) => [name, name] as const),
      },
      {
        key: "marker",
        label: "Marker number",
        help: "Only where markers of other sizes are in the picture too.",
        type: "number",
        required: false,
        more: true,
        when: isPlain,
      },
      ...COMMON,
    ],
    finds: { what: "the target", into: ["image", "plane"], alone: true },
  },
];
