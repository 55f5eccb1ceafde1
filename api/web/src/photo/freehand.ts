// Drawing along an edge without lifting. Listens to the pointer itself: the map's own drag begins only
// after the tap tolerance, which would cut off the first piece of every outline.
import DragPan from "ol/interaction/DragPan";
import type { Px } from "../geometry";
import type { Canvas } from "./canvas";

export class Freehand {
  private path: Px[] | null = null;
  private pointer = -1;
  private on = false;

  constructor(
    private readonly canvas: Canvas,
    private readonly onPath: (path: readonly Px[]) => void,
    private readonly onEnd: (path: Px[]) => void,
  ) {
    const viewport = canvas.map.getViewport() as HTMLElement;
    viewport.addEventListener("pointerdown", (event) => this.down(event, viewport));
    viewport.addEventListener("pointermove", (event) => this.move(event));
    viewport.addEventListener("pointerup", (event) => this.up(event));
    viewport.addEventListener("pointercancel", () => this.drop());
  }

  /** Take the pointer away from panning, or give it back; two fingers still zoom. */
  arm(on: boolean): void {
    this.on = on;
    this.drop();
    for (const one of this.canvas.map.getInteractions().getArray()) {
      if (one instanceof DragPan) one.setActive(!on);
    }
  }

  private down(event: PointerEvent, viewport: HTMLElement): void {
    if (!this.on) return;
    if (this.path || !event.isPrimary) {
      // A second finger: this is a pinch, not an outline.
      this.drop();
      return;
    }
    if (event.button !== 0) return;
    viewport.setPointerCapture(event.pointerId);
    this.pointer = event.pointerId;
    this.path = [this.at(event)];
  }

  private move(event: PointerEvent): void {
    if (!this.path || event.pointerId !== this.pointer) return;
    const events = event.getCoalescedEvents();
    for (const one of events.length > 0 ? events : [event]) this.path.push(this.at(one));
    this.onPath(this.path);
  }

  private up(event: PointerEvent): void {
    if (!this.path || event.pointerId !== this.pointer) return;
    const path = this.path;
    this.drop();
    this.onEnd(path);
  }

  private drop(): void {
    if (this.path) this.onPath([]);
    this.path = null;
    this.pointer = -1;
  }

  private at(event: PointerEvent): Px {
    const coordinate = this.canvas.map.getEventCoordinate(event);
    return this.canvas.inside(this.canvas.toPixel(coordinate));
  }
}
