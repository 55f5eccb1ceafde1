// The footprint of a removal: by numbers or drawn on the pad, in the display unit; documents keep theirs.
import { ellipseFromAxis, ellipseOutline } from "../geometry";
import { convert, fieldText, parseNumber, type Unit } from "../units";
import { FieldError, type Fields, type Units, type Values } from "./fields";
import type { Pad, Place } from "./pad";

export type Footprint =
  | { type: "Circle"; center: Place; radius: number }
  | { type: "Ellipse"; center: Place; semi_axes: [number, number]; angle_deg?: number }
  | { type: "Polygon"; coordinates: Place[][] };
export type ShapeName = Footprint["type"];

const STEPS: Record<ShapeName, readonly string[]> = {
  Circle: ["Click the middle of the circle.", "Click its edge. Zoom in first for a small one.", "Drawn. Click again to draw it anew."],
  Ellipse: [
    "Click one end of the longest line across it.",
    "Click the other end of that line.",
    "Click its edge beside the middle of the line.",
    "Drawn. Click again to draw it anew.",
  ],
  Polygon: ["Click the corners, one after the other.", "Click the next corner.", "Click the next corner.", "Go on, or leave it: the outline closes by itself."],
};

/** A stored footprint as the form's values, in the document's unit; lengths are whole, not halves. */
export function valuesOf(footprint: Footprint, units: Units): Values {
  if (footprint.type === "Circle") {
    const [station, offset] = footprint.center;
    return { shape: "Circle", circle: { station, offset, diameter: 2 * footprint.radius } };
  }
  if (footprint.type === "Ellipse") {
    const [station, offset] = footprint.center;
    const [a, b] = footprint.semi_axes;
    return { shape: "Ellipse", ellipse: { station, offset, length: 2 * a, width: 2 * b, angle: footprint.angle_deg ?? 0 } };
  }
  return { shape: "Polygon", corners: cornersText(footprint.coordinates[0] ?? [], units) };
}

function cornersText(ring: readonly Place[], units: Units): string {
  return ring.map((place) => lineOf(place.map((value) => convert(value, units.doc, units.shown)) as Place)).join("\n");
}

function lineOf([station, offset]: Place): string {
  return `${fieldText(station)} ${fieldText(offset)}`;
}

/** Ties the shape's fields and the pad together. */
export class FootprintForm {
  private came: Footprint | null = null;
  private points: Place[] = [];

  constructor(
    private readonly form: HTMLFormElement,
    private readonly fields: Fields,
    private readonly pad: Pad,
    private readonly units: Units,
    private readonly changed: () => void,
  ) {
    pad.onClick = (place) => this.click(place);
    pad.onBack = () => this.back();
    form.addEventListener("input", (event) => {
      const name = (event.target as HTMLElement).dataset["name"] ?? "";
      if (name === "shape") this.points = [];
      if (name === "shape" || /^(circle|ellipse)\./.test(name) || name === "corners") this.follow();
    });
  }

  /** Begin with a stored footprint, or none. The fields are filled already. */
  begin(footprint: Footprint | null): void {
    this.came = footprint;
    this.points = [];
    this.follow();
  }

  get shape(): ShapeName {
    return (this.form.querySelector<HTMLInputElement>('[data-name="shape"]:checked')?.value ?? "Circle") as ShapeName;
  }

  /** The footprint in the document's unit, out of what `Fields.read` gave. */
  footprint(values: Values): Footprint {
    if (this.shape === "Circle") {
      const { station, offset, diameter } = values["circle"] as Record<string, number>;
      return { type: "Circle", center: [station ?? 0, offset ?? 0], radius: (diameter ?? 0) / 2 };
    }
    if (this.shape === "Ellipse") {
      const { station, offset, length, width, angle } = values["ellipse"] as Record<string, number>;
      return {
        type: "Ellipse", center: [station ?? 0, offset ?? 0],
        semi_axes: [(length ?? 0) / 2, (width ?? 0) / 2], angle_deg: angle ?? 0,
      };
    }
    return this.polygon();
  }

  private polygon(): Footprint {
    const area = this.fields.named("corners") as HTMLTextAreaElement;
    const before = this.came?.type === "Polygon" ? this.came : null;
    // Untouched, it goes back as it came; holes stay either way.
    if (before && area.value === cornersText(before.coordinates[0] ?? [], this.units)) return before;
    const ring = area.value.split("\n").map((line) => line.trim()).filter(Boolean).map((line) => {
      const place = placeOf(line);
      if (place === null) throw new FieldError(area, `Outline: "${line}" is not a station and an offset.`);
      return place.map((value) => convert(value, this.units.shown, this.units.doc)) as Place;
    });
    if (ring.length < 3) throw new FieldError(area, "An outline needs at least three corners.", true);
    return { type: "Polygon", coordinates: [ring, ...(before?.coordinates.slice(1) ?? [])] };
  }

  private click(place: Place): void {
    const need = { Circle: 2, Ellipse: 3, Polygon: Infinity }[this.shape];
    if (this.shape === "Polygon") this.writeCorners([...this.corners(), place]);
    else {
      this.points = this.points.length >= need ? [place] : [...this.points, place];
      this.write();
    }
    this.follow();
    this.changed();
  }

  private back(): void {
    if (this.shape === "Polygon") this.writeCorners(this.corners().slice(0, -1));
    else this.points = this.points.slice(0, -1);
    this.follow();
    this.changed();
  }

  private write(): void {
    const [a, b, c] = this.points;
    if (a && b && this.shape === "Circle") {
      this.put("circle", { station: a[0], offset: a[1], diameter: 2 * Math.hypot(b[0] - a[0], b[1] - a[1]) });
    } else if (a && b && c) {
      const { center, semi_axes, angle_deg } = ellipseFromAxis(a, b, c);
      this.put("ellipse", {
        station: center[0], offset: center[1], length: 2 * semi_axes[0], width: 2 * semi_axes[1], angle: angle_deg,
      });
    }
  }

  private put(group: string, values: Record<string, number>): void {
    for (const [name, value] of Object.entries(values)) this.fields.write(`${group}.${name}`, Number(value.toPrecision(5)));
  }

  private corners(): Place[] {
    const text = this.fields.named("corners")?.value ?? "";
    return text.split("\n").map(placeOf).filter((place) => place !== null);
  }

  private writeCorners(corners: Place[]): void {
    const area = this.fields.named("corners");
    if (area) area.value = corners.map(lineOf).join("\n");
  }

  /** Show the fields of the chosen shape and what they say. */
  private follow(): void {
    const { shape } = this;
    for (const group of this.form.querySelectorAll<HTMLFieldSetElement>("[data-shape]")) {
      group.hidden = group.disabled = group.dataset["shape"] !== shape;
    }
    const ring = shape === "Polygon" ? this.corners() : this.round();
    const drawing = this.points.length > 0 && this.points.length < (shape === "Circle" ? 2 : 3);
    const points = shape === "Polygon" ? ring : drawing ? this.points : [];
    const done = shape === "Polygon" ? ring.length : drawing ? this.points.length : ring.length > 0 ? 9 : 0;
    const steps = STEPS[shape];
    this.pad.step(steps[Math.min(done, steps.length - 1)] ?? "");
    this.pad.draw({ rings: !drawing && ring.length > 2 ? [ring] : [], points });
  }

  private round(): Place[] {
    const of = (name: string): number | null => this.fields.number(name);
    const group = this.shape === "Circle" ? "circle" : "ellipse";
    const [station, offset] = [of(`${group}.station`), of(`${group}.offset`)];
    const length = of(this.shape === "Circle" ? "circle.diameter" : "ellipse.length");
    const width = this.shape === "Circle" ? length : of("ellipse.width");
    if (station === null || offset === null || !length || !width || length < 0 || width < 0) return [];
    return ringOf({
      type: "Ellipse", center: [station, offset], semi_axes: [length / 2, width / 2],
      angle_deg: this.shape === "Circle" ? 0 : (of("ellipse.angle") ?? 0),
    });
  }
}

/** The outline of a footprint, converted, to be drawn. */
export function ringOf(footprint: Footprint, from: Unit = "mm", to: Unit = "mm"): Place[] {
  const ring =
    footprint.type === "Polygon"
      ? (footprint.coordinates[0] ?? [])
      : ellipseOutline({
          center: footprint.center,
          semi_axes: footprint.type === "Circle" ? [footprint.radius, footprint.radius] : footprint.semi_axes,
          angle_deg: footprint.type === "Circle" ? 0 : (footprint.angle_deg ?? 0),
        });
  return ring.map((place) => place.map((value) => convert(value, from, to)) as Place);
}

function placeOf(line: string): Place | null {
  const [s, o, rest] = line.trim().split(/[\s;]+/);
  const [station, offset] = [parseNumber(s ?? ""), parseNumber(o ?? "")];
  return station === null || offset === null || rest !== undefined ? null : [station, offset];
}
