// Plane geometry of the photo page, pure: no page, no OpenLayers. The ONE place where the two pixel
// conventions meet: documents have the centre of the top-left pixel at (0, 0) and y down; the viewer
// has the picture's lower left corner at (0, 0) and y up, so that a W x H picture spans [0, W] x [0, H].

export type Px = [number, number];

export interface Ellipse {
  center: Px;
  semi_axes: [number, number];
  /** From the x axis to the first semi-axis, positive from x towards y (clockwise on the screen). */
  angle_deg: number;
}

/** Corners that an ellipse is drawn with; only for the eye, the document keeps the ellipse. */
export const ELLIPSE_CORNERS = 96;

/** Document pixel to viewer coordinate in a picture of `height` px. */
export function toView(point: Px, height: number): Px {
  return [point[0] + 0.5, height - 0.5 - point[1]];
}

/** Viewer coordinate to document pixel in a picture of `height` px. */
export function toPixel(point: readonly number[], height: number): Px {
  return [(point[0] ?? NaN) - 0.5, height - 0.5 - (point[1] ?? NaN)];
}

/** Nearest point inside the picture, which spans (-0.5, -0.5) to (W - 0.5, H - 0.5). */
export function clampToPicture(point: Px, width: number, height: number): Px {
  return [
    Math.min(Math.max(point[0], -0.5), width - 0.5),
    Math.min(Math.max(point[1], -0.5), height - 0.5),
  ];
}

export function distance(a: Px, b: Px): number {
  return Math.hypot(b[0] - a[0], b[1] - a[1]);
}

/** The ring without a repeated last corner. */
export function openRing(ring: readonly Px[]): Px[] {
  const first = ring[0];
  const last = ring[ring.length - 1];
  const closed = ring.length > 1 && first && last && first[0] === last[0] && first[1] === last[1];
  return closed ? ring.slice(0, -1) : ring.slice();
}

/** Area enclosed by a ring, px2, never negative (shoelace formula). */
export function ringArea(ring: readonly Px[]): number {
  return Math.abs(signedArea(openRing(ring)));
}

function signedArea(ring: readonly Px[]): number {
  const origin = ring[0] ?? [0, 0];
  let twice = 0;
  // Taken from the first corner: far from the origin the plain products lose digits.
  forEachEdge(ring, (a, b) => {
    twice += (a[0] - origin[0]) * (b[1] - origin[1]) - (b[0] - origin[0]) * (a[1] - origin[1]);
  });
  return twice / 2;
}

/** Length of the closed ring, px. */
export function ringPerimeter(ring: readonly Px[]): number {
  let sum = 0;
  forEachEdge(openRing(ring), (a, b) => {
    sum += distance(a, b);
  });
  return sum;
}

/** Centre of area of a ring; the mean corner where the ring encloses nothing. */
export function ringCentroid(ring: readonly Px[]): Px {
  const open = openRing(ring);
  const origin = open[0] ?? [0, 0];
  const area = signedArea(open);
  if (area === 0) {
    return [mean(open.map((p) => p[0])), mean(open.map((p) => p[1]))];
  }
  let x = 0;
  let y = 0;
  forEachEdge(open, (a, b) => {
    const [ax, ay, bx, by] = [a[0] - origin[0], a[1] - origin[1], b[0] - origin[0], b[1] - origin[1]];
    const cross = ax * by - bx * ay;
    x += (ax + bx) * cross;
    y += (ay + by) * cross;
  });
  return [origin[0] + x / (6 * area), origin[1] + y / (6 * area)];
}

function mean(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / Math.max(values.length, 1);
}

function forEachEdge(ring: readonly Px[], visit: (a: Px, b: Px) => void): void {
  ring.forEach((a, index) => {
    const b = ring[(index + 1) % ring.length];
    if (b) visit(a, b);
  });
}

/** An outline with more corners than this is tedious to reshape by hand. */
export const MANY_CORNERS = 60;
const LEAST_CORNERS = 12;

/**
 * The ring with the corners left out that hardly matter, never below twelve. What is cut off and what is
 * added comes to at most `share` of its area together, so its area changes by no more than that.
 */
export function withFewerCorners(ring: readonly Px[], share = 0.005): Px[] {
  const left = openRing(ring);
  let spare = share * ringArea(left);
  const cut = (i: number): number => {
    const n = left.length;
    return ringArea([left[(i + n - 1) % n], left[i], left[(i + 1) % n]] as Px[]);
  };
  const cuts = left.map((_, i) => cut(i));
  while (left.length > LEAST_CORNERS) {
    const least = cuts.indexOf(Math.min(...cuts));
    spare -= cuts[least] as number;
    if (spare < 0) break;
    left.splice(least, 1);
    cuts.splice(least, 1);
    for (const i of [(least + left.length - 1) % left.length, least % left.length]) cuts[i] = cut(i);
  }
  return crossesItself(left) ? openRing(ring) : left;
}

/** Whether two edges of the ring cross or touch that are not neighbours, or the ring encloses nothing. */
export function crossesItself(ring: readonly Px[]): boolean {
  const open = openRing(ring);
  const n = open.length;
  if (n < 3 || signedArea(open) === 0) return true;
  for (let i = 0; i < n; i += 1) {
    for (let j = i + 1; j < n; j += 1) {
      const neighbours = j === i + 1 || (i === 0 && j === n - 1);
      const [a, b, c, d] = [open[i], open[(i + 1) % n], open[j], open[(j + 1) % n]] as [Px, Px, Px, Px];
      if (neighbours ? foldsBack(a, b, c, d, j === i + 1) : segmentsMeet(a, b, c, d)) return true;
    }
  }
  return false;
}

// Neighbours share a corner; they only spoil the ring by running back over each other.
function foldsBack(a: Px, b: Px, c: Px, d: Px, follows: boolean): boolean {
  const [before, corner, after] = follows ? [a, b, d] : [c, d, b];
  if (turn(before, corner, after) !== 0) return false;
  const dot =
    (before[0] - corner[0]) * (after[0] - corner[0]) + (before[1] - corner[1]) * (after[1] - corner[1]);
  return dot >= 0;
}

function turn(a: Px, b: Px, c: Px): number {
  return Math.sign((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]));
}

function segmentsMeet(a: Px, b: Px, c: Px, d: Px): boolean {
  const [abc, abd, cda, cdb] = [turn(a, b, c), turn(a, b, d), turn(c, d, a), turn(c, d, b)];
  if (abc !== abd && cda !== cdb) return true;
  return (
    (abc === 0 && inBox(a, b, c)) ||
    (abd === 0 && inBox(a, b, d)) ||
    (cda === 0 && inBox(c, d, a)) ||
    (cdb === 0 && inBox(c, d, b))
  );
}

function inBox(a: Px, b: Px, p: Px): boolean {
  return (
    p[0] >= Math.min(a[0], b[0]) &&
    p[0] <= Math.max(a[0], b[0]) &&
    p[1] >= Math.min(a[1], b[1]) &&
    p[1] <= Math.max(a[1], b[1])
  );
}

/** Distance from a point to a segment. */
export function distanceToSegment(p: Px, a: Px, b: Px): number {
  const length2 = (b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2;
  if (length2 === 0) return distance(p, a);
  const along = ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / length2;
  const t = Math.min(1, Math.max(0, along));
  return distance(p, [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
}

/**
 * Thin a freehand line: no dropped corner lies further than `tolerance` from what remains
 * (Douglas and Peucker 1973).
 */
export function simplify(line: readonly Px[], tolerance: number): Px[] {
  const first = line[0];
  const last = line[line.length - 1];
  if (line.length < 3 || !first || !last) return line.slice();
  let worst = 0;
  let at = 0;
  for (let i = 1; i < line.length - 1; i += 1) {
    const off = distanceToSegment(line[i] as Px, first, last);
    if (off > worst) [worst, at] = [off, i];
  }
  if (worst <= tolerance) return [first, last];
  return [...simplify(line.slice(0, at + 1), tolerance).slice(0, -1), ...simplify(line.slice(at), tolerance)];
}

/** Thin a freehand ring; the corner farthest from the first is kept, so the ring cannot collapse. */
export function simplifyRing(ring: readonly Px[], tolerance: number): Px[] {
  const open = openRing(ring);
  const first = open[0];
  if (open.length < 4 || !first) return open;
  let far = 0;
  open.forEach((p, i) => {
    if (distance(first, p) > distance(first, open[far] as Px)) far = i;
  });
  const there = simplify(open.slice(0, far + 1), tolerance);
  const back = simplify([...open.slice(far), first], tolerance);
  return [...there, ...back.slice(1, -1)];
}

/** Ellipse whose first axis runs from `a` to `b` and whose second semi-axis reaches level with `side`. */
export function ellipseFromAxis(a: Px, b: Px, side: Px): Ellipse {
  const center: Px = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
  const half = distance(a, b) / 2;
  const angle = Math.atan2(b[1] - a[1], b[0] - a[0]);
  const across = Math.abs(
    -Math.sin(angle) * (side[0] - center[0]) + Math.cos(angle) * (side[1] - center[1]),
  );
  return { center, semi_axes: [half, across], angle_deg: (angle * 180) / Math.PI };
}

/** Points on an ellipse: centre, end of the first semi-axis, end of the second. */
export function ellipseHandles(e: Ellipse): [Px, Px, Px] {
  const angle = (e.angle_deg * Math.PI) / 180;
  const [cos, sin] = [Math.cos(angle), Math.sin(angle)];
  const [a, b] = e.semi_axes;
  return [
    [e.center[0], e.center[1]],
    [e.center[0] + a * cos, e.center[1] + a * sin],
    [e.center[0] - b * sin, e.center[1] + b * cos],
  ];
}

/** The ellipse after one of its handles (0 centre, 1 first axis, 2 second axis) was moved to `to`. */
export function moveHandle(e: Ellipse, handle: number, to: Px): Ellipse {
  if (handle === 0) return { ...e, center: to };
  const [dx, dy] = [to[0] - e.center[0], to[1] - e.center[1]];
  const angle = (e.angle_deg * Math.PI) / 180;
  if (handle === 1) {
    return {
      ...e,
      semi_axes: [Math.max(Math.hypot(dx, dy), 0.01), e.semi_axes[1]],
      angle_deg: (Math.atan2(dy, dx) * 180) / Math.PI,
    };
  }
  const across = Math.abs(-Math.sin(angle) * dx + Math.cos(angle) * dy);
  return { ...e, semi_axes: [e.semi_axes[0], Math.max(across, 0.01)] };
}

/** Corners on an ellipse, for drawing. */
export function ellipseOutline(e: Ellipse, corners = ELLIPSE_CORNERS): Px[] {
  const angle = (e.angle_deg * Math.PI) / 180;
  const [cos, sin] = [Math.cos(angle), Math.sin(angle)];
  return Array.from({ length: corners }, (_, i) => {
    const t = (2 * Math.PI * i) / corners;
    const [u, v] = [e.semi_axes[0] * Math.cos(t), e.semi_axes[1] * Math.sin(t)];
    return [e.center[0] + u * cos - v * sin, e.center[1] + u * sin + v * cos];
  });
}

export function ellipseArea(e: Ellipse): number {
  return Math.PI * e.semi_axes[0] * e.semi_axes[1];
}

/** Whether the corners, in order, make a convex figure: a card seen from any side is one. */
export function isConvex(corners: readonly Px[]): boolean {
  const n = corners.length;
  const turns = corners.map((p, i) => turn(p, corners[(i + 1) % n] as Px, corners[(i + 2) % n] as Px));
  return n >= 3 && turns.every((t) => t !== 0 && t === turns[0]);
}
