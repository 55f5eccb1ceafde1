// The kinds of scale reference: what to click, what to enter, and what it is good for. A new kind is one
// more entry here; nothing else on the page names a kind.
import { isConvex } from "../geometry";
import { bothEnds, COMMON, type ScaleKind, SLANT, U_SCALE } from "./scale-kind";
import { FOUND_KINDS } from "./scale-kinds-found";

export const SCALE_KINDS: readonly ScaleKind[] = [
  {
    kind: "bar",
    label: "Two points",
    explain:
      "Two points a known distance apart: two graduations of a steel rule, two rivet centres from the drawing. " +
      "Lay it beside the corrosion, in the same plane. Two points cannot show a slanted view, so state the largest slant.",
    ways: [
      {
        key: "ends",
        label: "Both ends",
        least: 2,
        most: 2,
        steps: ["Click one end of the known distance.", "Click the other end."],
        drawn: "line",
        into: "image",
      },
    ],
    fields: [
      { key: "length", label: "Distance", help: "Between the two points.", type: "length", required: true },
      {
        key: "u_length",
        label: "Tolerance of the distance",
        help: "Standard uncertainty (one sigma). Left empty it counts as zero, and says so.",
        type: "length",
        required: false,
      },
      { ...SLANT, help: "Degrees away from looking straight down, at most. Without it no uncertainty can be given." },
      ...COMMON,
    ],
    wrong: bothEnds,
  },
  ...FOUND_KINDS,
  {
    kind: "card",
    label: "Card",
    explain:
      "A flat rectangle of known size lying on the surface; it also shows how slanted the view is. Go round its four corners in order. " +
      "Corners may be rounded: click where the straight edges would meet, or set points on its edges.",
    ways: [
      {
        key: "corners",
        label: "By its corners",
        least: 4,
        most: 4,
        steps: [
          "Click the first corner, at one end of the first side.",
          "Click the corner at the other end of the first side.",
          "Click the third corner, going on round the card.",
          "Click the last corner.",
        ],
        drawn: "ring",
        into: "image",
      },
      {
        key: "edges",
        label: "By its edges",
        least: 8,
        most: 8,
        steps: ["first", "second", "third", "last"].flatMap((edge) => [
          `Click the ${edge} edge near one end of its straight part${edge === "first" ? "" : ", going on round the card"}.`,
          `Click the ${edge} edge near the other end of its straight part.`,
        ]),
        drawn: "edges",
        into: "edges",
      },
    ],
    fields: [
      {
        key: "size",
        label: "First side × second side",
        help: "Empty: an ID-1 card, 85.60 mm × 53.98 mm, first side long.",
        type: "pair",
        required: false,
      },
      {
        key: "u_size",
        label: "Tolerance of the sides",
        help: "Standard uncertainty (one sigma). Left empty it counts as zero, and says so.",
        type: "length",
        required: false,
      },
      ...COMMON,
    ],
    wrong: (points) =>
      points.length !== 4 || isConvex(points)
        ? null
        : "The corners are not in order round the card. Move them, or set the card again.",
  },
  {
    kind: "points",
    label: "Plan points",
    explain:
      "Four or more points whose places on the flat surface are known, for instance rivets from the drawing. " +
      "Spread them round the corrosion, not in one line. Five or more also show a wrongly placed point.",
    ways: [
      {
        key: "points",
        label: "Points",
        least: 4,
        most: 40,
        steps: ["Click a point of known place."],
        drawn: "points",
        into: "image",
      },
    ],
    perPoint: "plane",
    fields: [
      {
        key: "u_plane",
        label: "Tolerance of a point's place",
        help: "Standard uncertainty (one sigma) of one coordinate.",
        type: "length",
        required: false,
      },
      { ...U_SCALE, empty: 0 },
      ...COMMON,
    ],
  },
];
