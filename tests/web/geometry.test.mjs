// Run by test_geometry.py, or by hand: cd api/web && npm test
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

const built = process.env.CORROSION_TEST_BUILD ?? new URL("../../api/web/test-build/", import.meta.url).pathname;
const load = (name) => import(`file://${built.replace(/\/$/, "")}/${name}.mjs`);
const geometry = await load("geometry");
const units = await load("units");
const { decide, freeId, merge, same } = await load("merge");
const { History } = await load("history");
const cases = JSON.parse(readFileSync(new URL("geometry_cases.json", import.meta.url)));

const near = (found, expected, tolerance = 1e-9) => {
  const list = Array.isArray(expected) ? expected : [expected];
  const got = Array.isArray(found) ? found : [found];
  list.forEach((value, i) => {
    assert.ok(Math.abs(got[i] - value) <= tolerance, `${JSON.stringify(found)} is not ${JSON.stringify(expected)}`);
  });
};

test("pixel and viewer coordinates follow the convention, both ways", () => {
  for (const { height, pixel, view } of cases.convention) {
    near(geometry.toView(pixel, height), view);
    near(geometry.toPixel(view, height), pixel);
  }
});

test("areas, perimeters, centroids and crossings of rings", () => {
  for (const one of cases.rings) {
    assert.equal(geometry.crossesItself(one.ring), !one.simple, one.name);
    if (!one.simple) continue;
    near(geometry.ringArea(one.ring), one.area);
    near(geometry.ringPerimeter(one.ring), one.perimeter);
    near(geometry.ringCentroid(one.ring), one.centroid);
  }
});

test("fewer corners keep the area within half a percent and invent no corner", () => {
  const circle = (n, wobble) =>
    Array.from({ length: n }, (_, i) => {
      const [t, r] = [(2 * Math.PI * i) / n, 40 + wobble * (i % 2)];
      return [100 + r * Math.cos(t), 80 + r * Math.sin(t)];
    });
  for (const ring of [circle(300, 0), circle(300, 0.1), [...circle(96, 0), circle(96, 0)[0]]]) {
    const fewer = geometry.withFewerCorners(ring);
    // A regular polygon of n corners has 1 - (2 pi / n)^2 / 6 of its circle: 36 are within 0.5 %.
    assert.ok(fewer.length <= geometry.MANY_CORNERS && fewer.length >= 12, `${fewer.length} corners`);
    assert.ok(Math.abs(geometry.ringArea(fewer) / geometry.ringArea(ring) - 1) <= 0.005);
    assert.ok(fewer.every((corner) => ring.includes(corner)));
    assert.ok(!geometry.crossesItself(fewer));
  }
  const square = [[0, 0], [10, 0], [10, 10], [0, 10]];
  assert.deepEqual(geometry.withFewerCorners(square), square);
});

test("ellipses: axis ends, area, and back from the handles", () => {
  for (const one of cases.ellipses) {
    const [, first, second] = geometry.ellipseHandles(one);
    near(first, one.first_end);
    near(second, one.second_end);
    near(geometry.ellipseArea(one), one.area);
    const opposite = [2 * one.center[0] - first[0], 2 * one.center[1] - first[1]];
    const again = geometry.ellipseFromAxis(opposite, first, second);
    near(again.center, one.center);
    near(again.semi_axes, one.semi_axes);
    near(again.angle_deg, one.angle_deg);
    // An inscribed polygon of n corners has n sin(2 pi / n) / (2 pi) of the ellipse's area.
    const n = geometry.ELLIPSE_CORNERS;
    const share = (n * Math.sin((2 * Math.PI) / n)) / (2 * Math.PI);
    near(geometry.ringArea(geometry.ellipseOutline(one)), one.area * share, 1e-6);
  }
});

test("a moved handle moves only its own part", () => {
  const before = { center: [0, 0], semi_axes: [10, 5], angle_deg: 0 };
  near(geometry.moveHandle(before, 0, [3, 4]).center, [3, 4]);
  const turned = geometry.moveHandle(before, 1, [0, 20]);
  near(turned.semi_axes, [20, 5]);
  near(turned.angle_deg, 90);
  near(geometry.moveHandle(before, 2, [7, -8]).semi_axes, [10, 8]);
});

test("thinning a freehand line leaves no dropped corner further away than the tolerance", () => {
  const ring = Array.from({ length: 400 }, (_, i) => {
    const t = (2 * Math.PI * i) / 400;
    return [100 + 40 * Math.cos(t), 100 + 25 * Math.sin(t)];
  });
  const thin = geometry.simplifyRing(ring, 0.5);
  assert.ok(thin.length < 60 && thin.length > 8);
  for (const p of ring) {
    const off = Math.min(...thin.map((a, i) => geometry.distanceToSegment(p, a, thin[(i + 1) % thin.length])));
    assert.ok(off <= 0.5 + 1e-9);
  }
  assert.equal(geometry.crossesItself(thin), false);
});

test("points are kept inside the picture", () => {
  assert.deepEqual(geometry.clampToPicture([-9, 1000], 640, 480), [-0.5, 479.5]);
});

test("units convert exactly; typed numbers are read with point or comma", () => {
  for (const { value, from, to, power, expected } of cases.lengths) {
    near(units.convert(value, from, to, power), expected, 1e-12);
  }
  assert.equal(units.parseNumber("0,31"), 0.31);
  assert.equal(units.parseNumber(" 1.5e1 "), 15);
  for (const wrong of ["", "1.2.3", "12 mm", "abc", "1/8"]) assert.equal(units.parseNumber(wrong), null);
  assert.equal(units.showLength(0.0254, "in"), "0.0010 in");
});

test("a shown uncertainty never rounds down", () => {
  assert.equal(units.showMeasured(12.3456, 0.0503, "mm"), "12.35 ± 0.11 mm");
  assert.equal(units.showMeasured(5, null, "mm"), "5.00 mm, uncertainty not known");
});

const mark = (id, note = "") => ({ id, kind: "pit", shape: { type: "Point", coordinates: [1, 2] }, note });
const doc = (...marks) => ({ scale: null, placement: null, marks });

test("what only one person changed is taken, from either side", () => {
  const found = merge(doc(mark("P1"), mark("P2")), doc(mark("P1", "mine"), mark("P2")), doc(mark("P1"), mark("P3")));
  assert.deepEqual(found.conflicts, []);
  assert.deepEqual(found.doc.marks.map((m) => [m.id, m.note]).sort(), [["P1", "mine"], ["P3", ""]]);
});

test("what both changed is a conflict, and either choice stands", () => {
  const found = merge(doc(mark("P1")), doc(mark("P1", "mine")), doc(mark("P1", "theirs")));
  assert.equal(found.conflicts.length, 1);
  assert.equal(decide(found, new Map([["P1", "mine"]])).marks[0].note, "mine");
  assert.equal(decide(found, new Map([["P1", "theirs"]])).marks[0].note, "theirs");
});

test("deleted here and changed there is a conflict too", () => {
  const found = merge(doc(mark("P1")), doc(), doc(mark("P1", "theirs")));
  assert.equal(found.conflicts.length, 1);
  assert.deepEqual(decide(found, new Map([["P1", "mine"]])).marks, []);
});

test("two new marks of one name both stay", () => {
  const found = merge(doc(), doc(mark("P1", "mine")), doc(mark("P1", "theirs")));
  assert.deepEqual(found.doc.marks.map((m) => [m.id, m.note]), [["P1", "theirs"], ["P2", "mine"]]);
  assert.equal(freeId("P9", [{ id: "P1" }, { id: "P2" }]), "P3");
});

test("a missing field and a null one are the same", () => {
  assert.ok(same({ a: 1 }, { a: 1, b: null }));
  assert.ok(!same({ a: 1 }, { a: 1, b: 0 }));
});

test("undo and redo go back and forth; a new step ends redo", () => {
  const history = new History({ state: 0, label: "open" });
  history.push(1, "one");
  history.push(2, "two");
  assert.ok(history.undo());
  assert.deepEqual([history.state, history.undoLabel, history.redoLabel], [1, "one", "two"]);
  assert.ok(history.redo());
  assert.equal(history.state, 2);
  history.undo();
  history.push(3, "three");
  assert.equal(history.redo(), false);
  assert.ok(history.undo() && history.undo());
  assert.equal(history.undo(), false);
});
