// Between the document's shapes and what the viewer draws.
import Feature from "ol/Feature";
import type Geometry from "ol/geom/Geometry";
import LineString from "ol/geom/LineString";
import MultiPoint from "ol/geom/MultiPoint";
import Point from "ol/geom/Point";
import Polygon from "ol/geom/Polygon";
import { type Ellipse, ellipseHandles, ellipseOutline, openRing, type Px } from "../geometry";
import type { Canvas } from "./canvas";
import type { Shape } from "./types";

/** An ellipse for a shape that is one. */
export function asEllipse(shape: Shape): Ellipse | null {
  if (shape.type === "Ellipse") return shape;
  if (shape.type === "Circle") {
    return { center: shape.center, semi_axes: [shape.radius, shape.radius], angle_deg: 0 };
  }
  return null;
}

/** The points that outline a shape, for showing it and for finding it. */
export function outlineOf(shape: Shape): Px[] {
  const ellipse = asEllipse(shape);
  if (ellipse) return ellipseOutline(ellipse);
  if (shape.type === "Polygon") return openRing(shape.coordinates[0] ?? []);
  if (shape.type === "LineString") return shape.coordinates;
  return shape.type === "Point" ? [shape.coordinates] : [];
}

export function toGeometry(shape: Shape, canvas: Canvas): Geometry {
  const view = (points: readonly Px[]): Px[] => points.map((p) => canvas.toView(p));
  if (shape.type === "Polygon") {
    return new Polygon(shape.coordinates.map((ring) => closed(view(openRing(ring)))));
  }
  if (shape.type === "LineString") return new LineString(view(shape.coordinates));
  if (shape.type === "Point") return new Point(canvas.toView(shape.coordinates));
  return new Polygon([closed(view(outlineOf(shape)))]);
}

const closed = (ring: Px[]): Px[] => (ring[0] ? [...ring, ring[0]] : ring);

/** Read an edited geometry back; corners that were not moved keep their exact numbers. */
export function fromGeometry(geometry: Geometry, before: Shape, canvas: Canvas): Shape {
  const keep = (points: number[][], old: readonly Px[]): Px[] => {
    const known = new Map(old.map((p) => [canvas.toView(p).join(), p]));
    return points.map((p) => known.get(p.slice(0, 2).join()) ?? canvas.inside(canvas.toPixel(p)));
  };
  if (geometry instanceof Polygon && before.type === "Polygon") {
    const rings = geometry.getCoordinates().map((ring, i) => {
      const open = openRing(ring as Px[]);
      return keep(open, before.coordinates[i] ?? []);
    });
    return { type: "Polygon", coordinates: rings };
  }
  if (geometry instanceof LineString && before.type === "LineString") {
    return { type: "LineString", coordinates: keep(geometry.getCoordinates(), before.coordinates) };
  }
  if (geometry instanceof Point && before.type === "Point") {
    const at = keep([geometry.getCoordinates()], [before.coordinates])[0];
    return { type: "Point", coordinates: at ?? before.coordinates };
  }
  return before;
}

/** Handles of an ellipse as one feature of three points. */
export function handlesOf(ellipse: Ellipse, canvas: Canvas): Feature<MultiPoint> {
  return new Feature(new MultiPoint(ellipseHandles(ellipse).map((p) => canvas.toView(p))));
}

/** A shape moved by (dx, dy) pixels. */
export function shifted(shape: Shape, dx: number, dy: number): Shape {
  const move = (p: Px): Px => [p[0] + dx, p[1] + dy];
  switch (shape.type) {
    case "Polygon":
      return { ...shape, coordinates: shape.coordinates.map((ring) => ring.map(move)) };
    case "LineString":
      return { ...shape, coordinates: shape.coordinates.map(move) };
    case "Point":
      return { ...shape, coordinates: move(shape.coordinates) };
    case "Circle":
    case "Ellipse":
      return { ...shape, center: move(shape.center) };
  }
}
