// The picture under glass: preview first, the full picture once someone zooms in, and the view on it.
import ImageLayer from "ol/layer/Image";
import OlMap from "ol/Map";
import { defaults as defaultInteractions } from "ol/interaction/defaults";
import ImageStatic from "ol/source/ImageStatic";
import Projection from "ol/proj/Projection";
import View from "ol/View";
import { clampToPicture, type Px, toPixel, toView } from "../geometry";

const MOST_ZOOM_IN = 1 / 64;
// The preview has at most 1600 px; once one of its pixels covers more than this it looks coarse.
const SHARP_PX = 1.2;
// A gloved finger shakes: up to this many css px between press and release is still a tap.
const TAP_PX = 10;

export const reducedMotion = (): boolean => matchMedia("(prefers-reduced-motion: reduce)").matches;

export class Canvas {
  readonly map: OlMap;
  readonly view: View;
  private readonly preview: ImageLayer<ImageStatic>;
  private fullAsked = false;
  private fitted: number | undefined;
  /** Picture for the magnifier; the preview until the full one is there. */
  readonly glass = new Image();
  onFull: (state: "loading" | "shown" | "failed") => void = () => undefined;

  constructor(
    target: HTMLElement,
    readonly width: number,
    readonly height: number,
    urls: { preview: string; picture: string },
  ) {
    const extent = [0, 0, width, height];
    const projection = new Projection({ code: "image-px", units: "pixels", extent });
    this.preview = this.layer(urls.preview, projection, extent);
    this.view = new View({
      projection,
      center: [width / 2, height / 2],
      extent: [-width * 0.5, -height * 0.5, width * 1.5, height * 1.5],
      showFullExtent: true,
      minResolution: MOST_ZOOM_IN,
      maxResolution: (Math.max(width, height) / 200) * 2,
      resolution: 1,
      enableRotation: false,
      constrainResolution: false,
    });
    this.map = new OlMap({
      target,
      controls: [],
      layers: [this.preview],
      view: this.view,
      moveTolerance: TAP_PX,
      interactions: defaultInteractions({
        doubleClickZoom: false,
        altShiftDragRotate: false,
        pinchRotate: false,
        keyboard: false,
        shiftDragZoom: false,
      }),
    });
    this.glass.src = urls.preview;
    this.fit();
    this.view.on("change:resolution", () => this.sharpen(urls.picture, projection, extent));
    this.sharpen(urls.picture, projection, extent);
  }

  private layer(url: string, projection: Projection, imageExtent: number[]): ImageLayer<ImageStatic> {
    return new ImageLayer({
      source: new ImageStatic({ url, projection, imageExtent, interpolate: true }),
      zIndex: 0,
    });
  }

  private sharpen(url: string, projection: Projection, extent: number[]): void {
    const shown = Math.max(this.width, this.height) / 1600;
    const resolution = this.view.getResolution() ?? 1;
    if (this.fullAsked || resolution * devicePixelRatio > shown * SHARP_PX) return;
    this.fullAsked = true;
    this.onFull("loading");
    const picture = new Image();
    picture.src = url;
    picture.decode().then(
      () => {
        const layer = this.layer(url, projection, extent);
        layer.setZIndex(1);
        layer.getSource()?.on("imageloadend", () => this.onFull("shown"));
        this.map.addLayer(layer);
        this.glass.src = url;
      },
      () => {
        this.fullAsked = false;
        this.onFull("failed");
      },
    );
  }

  toPixel(coordinate: readonly number[]): Px {
    return toPixel(coordinate, this.height);
  }

  toView(point: Px): Px {
    return toView(point, this.height);
  }

  inside(point: Px): Px {
    return clampToPicture(point, this.width, this.height);
  }

  /** Image pixels per css pixel. */
  get resolution(): number {
    return this.view.getResolution() ?? 1;
  }

  get center(): Px {
    return this.toPixel(this.view.getCenter() ?? [0, 0]);
  }

  fit(): void {
    this.view.fit([0, 0, this.width, this.height], { padding: [12, 12, 12, 12] });
    this.fitted = this.view.getResolution();
  }

  /** Take in a new size; a picture that was shown whole stays whole. */
  resized(): void {
    const whole = this.fitted !== undefined && this.fitted === this.view.getResolution();
    this.map.updateSize();
    if (whole) this.fit();
  }

  zoom(factor: number): void {
    const to = this.view.getConstrainedResolution(this.resolution / factor);
    if (reducedMotion()) this.view.setResolution(to);
    else this.view.animate({ resolution: to, duration: 160 });
  }

  /** Move the view by css pixels. */
  pan(dx: number, dy: number): void {
    const [x, y] = this.view.getCenter() ?? [0, 0];
    const center = [(x ?? 0) + dx * this.resolution, (y ?? 0) - dy * this.resolution];
    this.view.setCenter(center);
  }

  /** Show points, enlarged but not to the last pixel. */
  show(points: readonly Px[]): void {
    const view = points.map((p) => this.toView(p));
    if (view.length === 0) return;
    const xs = view.map((p) => p[0]);
    const ys = view.map((p) => p[1]);
    const box = [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
    this.view.fit(box, { padding: [80, 80, 80, 80], minResolution: 0.25, duration: reducedMotion() ? 0 : 200 });
  }

  /** Where a point of the picture is on the canvas, css px. */
  onScreen(point: Px): Px | null {
    const at = this.map.getPixelFromCoordinate(this.toView(point));
    return at ? [at[0] ?? 0, at[1] ?? 0] : null;
  }
}

/**
 * Put a canvas on whole css px of its pane. Browsers draw it on whole pixels but report the pointer against
 * its fractional box, which would shift every drawn point by up to half a css px.
 */
export function snapTo(canvas: HTMLElement, pane: HTMLElement): void {
  const box = pane.getBoundingClientRect();
  const [x, y] = [box.left + pane.clientLeft + scrollX, box.top + pane.clientTop + scrollY];
  canvas.style.left = `${Math.ceil(x) - x}px`;
  canvas.style.top = `${Math.ceil(y) - y}px`;
  canvas.style.width = `${Math.floor(box.width - 2 * pane.clientLeft) - 1}px`;
  canvas.style.height = `${Math.floor(box.height - 2 * pane.clientTop) - 1}px`;
}
