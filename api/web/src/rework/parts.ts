// What removals, readings and instruments are made of, and where they are kept.
import { edit, pageData, post, ProblemError, read, type Versioned } from "../client";
import { make, need } from "../frame";
import { convert, fieldText } from "../units";
import type { Kind, Keeper } from "./editor";
import type { Fields, Units, Values } from "./fields";
import { type Footprint, type FootprintForm, ringOf, valuesOf } from "./footprint";
import type { Pad, Place } from "./pad";

export interface Removal {
  id: string;
  member: string;
  face: string;
  footprint: Footprint;
  depth: { value: number; u: number; instrument?: string | null };
  profile: string;
  run_out?: { total?: number | null; per_side?: number | null } | null;
  measured_from: string;
  origin: string;
  date?: string | null;
  note?: string;
}

export interface Reading {
  id: string;
  member: string;
  at: Place;
  value: number;
  u: number;
  instrument?: string | null;
  date?: string | null;
  note?: string;
}

export interface Instrument {
  id: string;
  kind: string;
  u_systematic: number;
  calibrated?: string | null;
  note?: string;
}

export interface OnRecord {
  instruments: string[];
  removals: { id: string; member: string; face: string; footprint: Footprint }[];
  readings: { id: string; member: string; at: Place }[];
}

export interface Layout {
  units: "mm" | "in";
  members: { id: string; outline: Place[]; offset_is: string }[];
}

export const onRecord = (): OnRecord => pageData<OnRecord>("on-record") ?? { instruments: [], removals: [], readings: [] };

/** The next free id with a letter: R3 after R1 and R2. */
export function nextId(letter: string, taken: readonly string[]): string {
  let number = taken.length + 1;
  while (taken.includes(`${letter}${number}`)) number += 1;
  return `${letter}${number}`;
}

/** Removals and readings: each has its own address and version. */
export function keeperOf<T>(survey: string, noun: "removal" | "reading"): Keeper<T> {
  return {
    load: async (id): Promise<Versioned<T>> => {
      const { body, etag } = await read<Record<string, T>>(`/api/${noun}s/${id}`);
      return { body: body[noun] as T, etag };
    },
    add: async (part) => void (await post(`/api/surveys/${survey}/${noun}s`, part)),
    change: async (id, etag, part) => void (await edit("PUT", `/api/${noun}s/${id}`, etag, part)),
    checkAt: `/surveys/${survey}/rework/check/${noun}`,
  };
}

interface Head {
  instruments: Instrument[];
  [field: string]: unknown;
}

/** Instruments are part of the survey's head: other people's edits of the rest of it are left alone. */
export class InstrumentKeeper implements Keeper<Instrument> {
  private readonly address: string;
  private loaded = new Map<string, string>();

  constructor(survey: string) {
    this.address = `/api/surveys/${survey}`;
  }

  async load(id: string): Promise<Versioned<Instrument>> {
    const { body, etag } = await read<Head>(this.address);
    const found = body.instruments.find((one) => one.id === id);
    if (!found) throw new ProblemError(410, { detail: `Instrument ${id} was taken off the list by someone else.` });
    this.loaded.set(id, JSON.stringify(found));
    return { body: found, etag };
  }

  async add(part: Instrument): Promise<void> {
    await this.put((list) => {
      if (list.some((one) => one.id === part.id)) {
        throw new ProblemError(409, { detail: `There is an instrument ${part.id} already. Choose another id, or edit that one.`, errors: [{ path: "body.id", message: "taken" }] });
      }
      return [...list, part];
    });
  }

  async change(id: string, _etag: string, part: Instrument): Promise<void> {
    await this.put((list) => {
      const now = list.find((one) => one.id === id);
      if (!now) throw new ProblemError(410, { detail: `Instrument ${id} was taken off the list by someone else.` });
      if (JSON.stringify(now) !== this.loaded.get(id)) throw new ProblemError(412, { detail: "Someone else changed it." });
      return list.map((one) => (one.id === id ? part : one));
    });
  }

  async drop(id: string): Promise<void> {
    await this.put((list) => list.filter((one) => one.id !== id));
  }

  // Read, change and write at once; if someone else wrote between, the change is made to theirs.
  private async put(change: (list: Instrument[]) => Instrument[], tries = 3): Promise<void> {
    const { body, etag } = await read<Head>(this.address);
    const head: Record<string, unknown> = { ...body, instruments: change(body.instruments) };
    for (const name of ["id", "version", "created", "structure_id", "units"]) delete head[name];
    try {
      await edit("PUT", this.address, etag, head);
    } catch (error) {
      if (!(error instanceof ProblemError && error.isStale) || tries <= 1) throw error;
      await this.put(change, tries - 1);
    }
  }
}

export function instrumentKind(): Kind<Instrument> {
  return {
    name: "instrument",
    words: "Instrument",
    fresh: () => ({}),
    toValues: (part) => ({ ...part }),
    toPart: (values, carried) => ({
      ...carried,
      ...(values as unknown as Instrument),
      kind: String(values["kind"] ?? ""),
      calibrated: (values["calibrated"] as string | undefined) ?? null,
      note: String(values["note"] ?? ""),
    }),
    follow: () => undefined,
  };
}

function outlineOf(layout: Layout, units: Units, id: string): Place[] {
  const member = layout.members.find((one) => one.id === id);
  return (member?.outline ?? []).map((place) => place.map((value) => convert(value, units.doc, units.shown)) as Place);
}

export function readingKind(layout: Layout, units: Units, pad: Pad, fields: () => Fields): Kind<Reading> {
  let shown = "";
  return {
    name: "reading",
    words: "Thickness reading",
    fresh: () => ({ id: nextId("T", onRecord().readings.map((one) => one.id)), date: today() }),
    toValues: ({ at, ...rest }) => ({ ...rest, station: at[0], offset: at[1] }),
    toPart: (values, carried) => {
      const { station, offset, ...rest } = values;
      return { ...carried, ...blank("instrument", "date"), note: "", ...rest, at: [station, offset] } as Reading;
    },
    follow: (_, begun) => {
      const form = fields();
      const member = form.named("member")?.value ?? "";
      if (begun || member !== shown) {
        shown = member;
        pad.show(outlineOf(layout, units, member), othersOn(member, null, null, units));
        pad.step("Click the place that was read, or type it below.");
      }
      const [station, offset] = [form.number("station"), form.number("offset")];
      pad.draw({ rings: [], points: station === null || offset === null ? [] : [[station, offset]] });
    },
  };
}

function othersOn(member: string, face: string | null, except: string | null, units: Units): Place[][] {
  return onRecord()
    .removals.filter((one) => one.member === member && (face === null || one.face === face) && one.id !== except)
    .map((one) => ringOf(one.footprint, units.doc, units.shown));
}

export function removalKind(layout: Layout, units: Units, pad: Pad, fields: () => Fields, drawn: () => FootprintForm): Kind<Removal> {
  let shown = "";
  return {
    name: "removal",
    words: "Earlier rework",
    fresh: () => ({ id: nextId("R", onRecord().removals.map((one) => one.id)), shape: "Circle", origin: "earlier" }),
    toValues: ({ footprint, run_out, ...rest }) => ({
      ...rest, ...valuesOf(footprint, units),
      run_out: run_out ? { ratio: run_out.total ?? run_out.per_side, how: run_out.total ? "total" : "per_side" } : undefined,
    }),
    toPart: (values, carried) => removalOf(values, carried, drawn()),
    follow: (part, begun) => {
      const form = fields();
      const [member, face] = [form.named("member")?.value ?? "", form.named("face")?.value ?? ""];
      const now = `${member} ${face}`;
      if (begun || now !== shown) {
        shown = now;
        pad.show(outlineOf(layout, units, member), othersOn(member, face || null, part?.id ?? null, units));
      }
      if (begun) drawn().begin(part?.footprint ?? null);
      followRunOut(form);
    },
  };
}

function removalOf(values: Values, carried: Removal | null, drawn: FootprintForm): Removal {
  const { run_out, shape: _shape, circle: _circle, ellipse: _ellipse, corners: _corners, depth, ...rest } = values;
  const ratio = run_out as { ratio: number; how: string } | undefined;
  return {
    ...carried,
    ...blank("date"),
    note: "",
    ...rest,
    depth: { ...blank("instrument"), ...(depth as Removal["depth"]) },
    footprint: drawn.footprint(values),
    run_out: ratio ? { [ratio.how]: ratio.ratio } : (carried?.run_out ?? null),
  } as Removal;
}

// Both ways at once, so that 20:1 in all is never taken for 20:1 on each side.
function followRunOut(fields: Fields): void {
  const group = need<HTMLFieldSetElement>('[data-part="run-out"]');
  const profile = fields.all().find((one) => one instanceof HTMLInputElement && one.dataset["name"] === "profile" && one.checked);
  group.hidden = group.disabled = profile?.value !== "faired";
  const [ratio, how] = [fields.number("run_out.ratio"), fields.named("run_out.how")?.value];
  const side = ratio === null || ratio <= 0 || !how ? null : how === "total" ? ratio / 2 : ratio;
  need('[data-part="both-ways"]').replaceChildren(
    side === null
      ? "20:1 in all, edge to edge, is the same dish as 10:1 on each side."
      : make("strong", {}, `${fieldText(2 * side)}:1 in all, which is ${fieldText(side)}:1 on each side.`),
  );
}

function blank(...names: string[]): Values {
  return Object.fromEntries(names.map((name) => [name, null]));
}

function today(): string {
  return new Date().toLocaleDateString("sv-SE");
}
