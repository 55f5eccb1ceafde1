// The magnifier: what is under the pointer (or the crosshair), enlarged, for exact clicks.
import type { Px } from "../geometry";
import type { Canvas } from "./canvas";

const SIZE = 132;
const TIMES = 4;

export class Glass {
  private readonly context: CanvasRenderingContext2D | null;

  constructor(
    private readonly canvas: Canvas,
    private readonly element: HTMLCanvasElement,
  ) {
    const ratio = Math.min(devicePixelRatio, 2);
    element.width = SIZE * ratio;
    element.height = SIZE * ratio;
    this.context = element.getContext("2d");
    this.context?.scale(ratio, ratio);
  }

  hide(): void {
    this.element.hidden = true;
  }

  /** Show the surroundings of a point; the magnifier moves out of the way of it. */
  show(at: Px): void {
    const { context, canvas } = this;
    const source = canvas.glass;
    const place = canvas.onScreen(at);
    if (!context || !place || !source.naturalWidth) return;
    this.element.hidden = false;
    const width = canvas.map.getSize()?.[0] ?? 0;
    const left = place[0] < SIZE * 1.6 && place[1] < SIZE * 1.6;
    this.element.classList.toggle("right", left && width > 0);
    const share = source.naturalWidth / canvas.width;
    const across = (SIZE / TIMES) * canvas.resolution;
    const [x, y] = [at[0] + 0.5 - across / 2, at[1] + 0.5 - across / 2];
    context.fillStyle = "#0b1116";
    context.fillRect(0, 0, SIZE, SIZE);
    context.imageSmoothingEnabled = across * share > SIZE / 2;
    context.drawImage(source, x * share, y * share, across * share, across * share, 0, 0, SIZE, SIZE);
    this.cross(context);
  }

  private cross(context: CanvasRenderingContext2D): void {
    const middle = SIZE / 2;
    for (const [color, width] of [["rgba(8, 14, 20, 0.8)", 3], ["#ffffff", 1]] as const) {
      context.strokeStyle = color;
      context.lineWidth = width;
      context.beginPath();
      for (const [a, b] of [[0, middle - 6], [middle + 6, SIZE]] as const) {
        context.moveTo(a, middle);
        context.lineTo(b, middle);
        context.moveTo(middle, a);
        context.lineTo(middle, b);
      }
      context.stroke();
    }
  }
}
