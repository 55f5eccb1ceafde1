// The metal removed, painted cell by cell: a ramp for how much, hatchings for the verdict.
import ImageLayer from "ol/layer/Image";
import type Projection from "ol/proj/Projection";
import ImageCanvasSource from "ol/source/ImageCanvas";
import { limitAt, NOT_DETERMINED, OVER, type Patch, type Point, removedAt, TOO_CLOSE } from "./data";
import { closePattern, overPattern, unknownPattern } from "./patterns";

export type Mode = "share" | "margin";

/** The raster of one member; `show` repaints it. */
export class RemovalRaster {
  readonly layer: ImageLayer<ImageCanvasSource>;
  private patches: Patch[] = [];
  private painted: HTMLCanvasElement[] = [];
  private mode: Mode = "share";
  private patterns: Map<number, CanvasPattern> = new Map();

  constructor(
    projection: Projection,
    private readonly ramp: [number, number, number][],
  ) {
    const source = new ImageCanvasSource({
      projection,
      ratio: 1,
      canvasFunction: (extent, resolution, ratio, size) =>
        this.draw([extent[0] ?? 0, extent[3] ?? 0], resolution / ratio, [size[0] ?? 1, size[1] ?? 1]),
    });
    this.layer = new ImageLayer({ source });
  }

  /** Largest limit on the patches, mm: the far end of the margin's ramp. */
  get largestLimit(): number {
    let most = 0;
    for (const { limit } of this.patches) {
      for (const one of Array.isArray(limit) ? limit : [limit]) most = Math.max(most, one ?? 0);
    }
    return most;
  }

  show(patches: Patch[], mode: Mode): void {
    this.patches = patches;
    this.mode = mode;
    const most = this.largestLimit;
    this.painted = patches.map((patch) => this.paint(patch, most));
    this.layer.getSource()?.changed();
  }

  /** Removed and limit at a place, mm; null where nothing was removed. */
  at([station, offset]: Point): { removed: number; limit: number | null } | null {
    for (const patch of this.patches) {
      const index = indexAt(patch, station, offset);
      const removed = index === null ? 0 : removedAt(patch, index);
      if (index !== null && removed > 0) return { removed, limit: limitAt(patch, index) };
    }
    return null;
  }

  // One pixel a cell; enlarged without smoothing, because a blurred edge would claim what nobody summed.
  private paint(patch: Patch, most: number): HTMLCanvasElement {
    const canvas = document.createElement("canvas");
    canvas.width = patch.columns;
    canvas.height = patch.rows;
    const context = canvas.getContext("2d");
    if (context === null) return canvas;
    const image = context.createImageData(patch.columns, patch.rows);
    for (let index = 0; index < patch.removed.length; index += 1) {
      const removed = removedAt(patch, index);
      const limit = limitAt(patch, index);
      if (removed <= 0 || limit === null) continue;
      const level = this.mode === "share" ? removed / limit : (limit - removed) / most;
      image.data.set([...this.shade(level), 255], index * 4);
    }
    context.putImageData(image, 0, 0);
    return canvas;
  }

  private shade(level: number): [number, number, number] {
    const last = this.ramp.length - 1;
    return this.ramp[Math.round(Math.min(1, Math.max(0, level)) * last)] ?? [0, 0, 0];
  }

  private draw([left, top]: Point, mmPerPixel: number, [width, height]: Point): HTMLCanvasElement {
    const canvas = document.createElement("canvas");
    canvas.width = width;
    canvas.height = height;
    const context = canvas.getContext("2d");
    if (context === null) return canvas;
    context.imageSmoothingEnabled = false;
    for (const [number, patch] of this.patches.entries()) {
      const [west, south, east, north] = patch.extent;
      const box = [(west - left) / mmPerPixel, (top - north) / mmPerPixel, (east - west) / mmPerPixel, (north - south) / mmPerPixel] as const;
      if (box[0] > width || box[1] > height || box[0] + box[2] < 0 || box[1] + box[3] < 0) continue;
      const cells = this.painted[number];
      if (cells) context.drawImage(cells, ...box);
      for (const code of [NOT_DETERMINED, TOO_CLOSE, OVER]) this.hatch(context, patch, code, box);
    }
    return canvas;
  }

  private hatch(
    context: CanvasRenderingContext2D,
    patch: Patch,
    code: number,
    [x, y, width, height]: readonly [number, number, number, number],
  ): void {
    const [across, down] = [width / patch.columns, height / patch.rows];
    context.beginPath();
    let any = false;
    const digit = String(code);
    for (let index = patch.verdict.indexOf(digit); index >= 0; index = patch.verdict.indexOf(digit, index + 1)) {
      if (removedAt(patch, index) <= 0) continue;
      any = true;
      const [column, row] = [index % patch.columns, Math.floor(index / patch.columns)];
      context.rect(x + column * across, y + row * down, across, down);
    }
    if (!any) return;
    context.fillStyle = this.pattern(code);
    context.fill();
  }

  private pattern(code: number): CanvasPattern {
    const make = code === OVER ? overPattern : code === TOO_CLOSE ? closePattern : unknownPattern;
    const made = this.patterns.get(code) ?? make();
    this.patterns.set(code, made);
    return made;
  }
}

function indexAt(patch: Patch, station: number, offset: number): number | null {
  const [west, south, east, north] = patch.extent;
  if (station < west || station >= east || offset <= south || offset > north) return null;
  const column = Math.floor(((station - west) / (east - west)) * patch.columns);
  const row = Math.floor(((north - offset) / (north - south)) * patch.rows);
  return row * patch.columns + column;
}
