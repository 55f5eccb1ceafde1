// The legend, drawn with the same patterns and symbols as the map.
import { make } from "../frame";
import { showLength, type Unit } from "../units";
import type { Face, MapData } from "./data";
import { SYMBOLS } from "./layers";
import { closePattern, colour, overPattern, unknownPattern, unseenPattern } from "./patterns";
import type { Mode } from "./raster";

const [WIDTH, HEIGHT] = [56, 28];
type Paint = (context: CanvasRenderingContext2D) => void;

/** Fill in ramp and list. */
export function legend(ramp: HTMLElement, list: HTMLElement, data: MapData, mode: Mode, most: number, unit: Unit): void {
  const colours = data.ramp ?? [];
  const words = mode === "share" ? "Metal removed, share of the limit" : "Margin: how much more may come off";
  const ends = mode === "share" ? ["0 %", "50 %", "100 % and more"] : [showLength(0, unit), "", showLength(most, unit)];
  ramp.replaceChildren(
    make("p", { class: "label" }, words),
    swatch(256, 20, (context) => {
      for (const [index, rgb] of colours.entries()) {
        context.fillStyle = `rgb(${rgb.join(" ")})`;
        context.fillRect((index * 256) / colours.length, 0, 256 / colours.length + 1, 20);
      }
    }),
    make("p", { class: "ends" }, ...ends.map((end) => make("span", {}, end))),
  );
  const middle = colours[Math.floor(colours.length * 0.8)] ?? [200, 180, 90];
  list.replaceChildren(...rows(data, `rgb(${middle.join(" ")})`).map(([paint, said]) =>
    make("li", {}, swatch(WIDTH, HEIGHT, paint), make("span", {}, said))));
}

function rows(data: MapData, ground: string): [Paint, string][] {
  const on = (pattern: CanvasPattern, under = ground): Paint => (context) => {
    context.fillStyle = under;
    context.fillRect(0, 0, WIDTH, HEIGHT);
    context.fillStyle = pattern;
    context.fillRect(0, 0, WIDTH, HEIGHT);
  };
  const unseen = (face: Face): [Paint, string] => {
    const share = data.seen_share?.[face];
    const seen = share === null || share === undefined ? "nothing of it seen" : `${Math.round(100 * share)} % of it seen`;
    return [on(unseenPattern(face), colour("metal")), `${face} face not seen (${seen})`];
  };
  const found = (kind: string): boolean => (data.findings ?? []).some((one) => one.kind === kind);
  const { member } = data;
  // What a verdict looks like is always said; of the rest only what is on this map.
  const all: [boolean, [Paint, string]][] = [
    [true, [on(overPattern()), "over the limit"]],
    [true, [on(closePattern()), "too close to call: measure better"]],
    [true, [on(unknownPattern()), "removed, but no limit is set"]],
    [true, unseen("outer")],
    [true, unseen("inner")],
    [found("pit"), [symbol("pit"), "pit (loss, not yet removal)"]],
    [found("blend-out"), [symbol("blend-out"), "blend-out"]],
    [found("affected"), [symbol("affected"), "affected area"]],
    [found("clear"), [symbol("clear"), "looked at, found clear"]],
    [(data.entries ?? []).some((one) => one.origin === "earlier"), [symbol("earlier"), "earlier rework on record"]],
    [(data.readings ?? []).length > 0, [symbol("reading"), "thickness reading; ! disagrees"]],
    [true, [lines("outer"), "outer face: solid line"]],
    [true, [lines("inner"), "inner face: dashed line"]],
    [member.limit_zones.length > 0, [dash([2, 5]), "zone with its own limit"]],
    [member.stations.length > 0, [dash([12, 4]), "station line"]],
    [member.fasteners.length > 0, [fastener, "fastener"]],
  ];
  return all.filter(([there]) => there).map(([, row]) => row);
}

function swatch(width: number, height: number, paint: Paint): HTMLCanvasElement {
  const ratio = Math.max(1, devicePixelRatio);
  const canvas = make("canvas", { "aria-hidden": "true" });
  canvas.width = width * ratio;
  canvas.height = height * ratio;
  const context = canvas.getContext("2d");
  context?.scale(ratio, ratio);
  if (context) paint(context);
  return canvas;
}

function symbol(kind: string): Paint {
  return (context) => {
    const { points, radius, angle, filled } = SYMBOLS[kind] ?? { points: 4, radius: 6, angle: 0, filled: false };
    context.translate(WIDTH / 2, HEIGHT / 2);
    context.beginPath();
    for (let corner = 0; corner < points; corner += 1) {
      const turn = angle + (2 * Math.PI * corner) / points - Math.PI / 2;
      context.lineTo(1.2 * radius * Math.cos(turn), 1.2 * radius * Math.sin(turn));
    }
    context.closePath();
    context.fillStyle = filled ? colour("ink") : colour("sheet");
    context.fill();
    context.strokeStyle = colour("ink");
    context.lineWidth = 2;
    context.stroke();
  };
}

function stroke(context: CanvasRenderingContext2D, ink: string, width: number, pattern: number[]): void {
  context.strokeStyle = ink;
  context.lineWidth = width;
  context.setLineDash(pattern);
  context.beginPath();
  context.moveTo(4, HEIGHT / 2);
  context.lineTo(WIDTH - 4, HEIGHT / 2);
  context.stroke();
}

function lines(face: Face): Paint {
  return (context) => stroke(context, colour(face), 2.5, face === "inner" ? [7, 4] : []);
}

function dash(pattern: number[]): Paint {
  return (context) => stroke(context, colour("quiet"), 1.5, pattern);
}

function fastener(context: CanvasRenderingContext2D): void {
  context.beginPath();
  context.arc(WIDTH / 2, HEIGHT / 2, 5, 0, 2 * Math.PI);
  context.fillStyle = colour("sheet");
  context.fill();
  context.strokeStyle = colour("ink");
  context.lineWidth = 1.4;
  context.stroke();
}
