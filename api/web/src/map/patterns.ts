// Colours from the style sheet, and the hatchings that say the same without colour.

/** A colour of the style sheet, as it is in the current theme. */
export function colour(name: string): string {
  return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
}

type Painter = (context: CanvasRenderingContext2D, side: number) => void;

function tile(side: number, paint: Painter): CanvasPattern {
  const ratio = Math.max(1, Math.round(devicePixelRatio));
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = side * ratio;
  const context = canvas.getContext("2d");
  if (context === null) throw new Error("this browser cannot draw");
  context.scale(ratio, ratio);
  paint(context, side);
  const pattern = context.createPattern(canvas, "repeat");
  if (pattern === null) throw new Error("this browser cannot draw patterns");
  return pattern;
}

function line(context: CanvasRenderingContext2D, ...points: number[]): void {
  context.beginPath();
  context.moveTo(points[0] ?? 0, points[1] ?? 0);
  context.lineTo(points[2] ?? 0, points[3] ?? 0);
  context.stroke();
}

/** Not seen: thin, faint lines, so that what was found stands out; right for the outer face, left for the inner. */
export function unseenPattern(face: "outer" | "inner"): CanvasPattern {
  return tile(24, (context, side) => {
    context.strokeStyle = colour(face);
    context.globalAlpha = 0.3;
    context.lineWidth = 1;
    for (const shift of [-side, 0, side]) {
      if (face === "outer") line(context, shift, side, shift + side, 0);
      else line(context, shift, 0, shift + side, side);
    }
  });
}

/** Over the limit: a black and white lattice that shows on any ramp colour. */
export function overPattern(): CanvasPattern {
  return tile(8, (context, side) => {
    for (const [ink, width] of [["#ffffff", 3], ["#000000", 1.4]] as const) {
      context.strokeStyle = ink;
      context.lineWidth = width;
      for (const shift of [-side, 0, side]) {
        line(context, shift, side, shift + side, 0);
        line(context, shift, 0, shift + side, side);
      }
    }
  });
}

/** Too close to call: dots. */
export function closePattern(): CanvasPattern {
  return tile(7, (context, side) => {
    for (const [ink, radius] of [["#ffffff", 2.2], ["#000000", 1.4]] as const) {
      context.fillStyle = ink;
      context.beginPath();
      context.arc(side / 2, side / 2, radius, 0, 2 * Math.PI);
      context.fill();
    }
  });
}

/** Not determined: grey with upright strokes. */
export function unknownPattern(): CanvasPattern {
  return tile(8, (context, side) => {
    context.fillStyle = "#8a8f98";
    context.fillRect(0, 0, side, side);
    context.strokeStyle = "#111111";
    context.lineWidth = 1.2;
    line(context, side / 2, 0, side / 2, side);
  });
}
