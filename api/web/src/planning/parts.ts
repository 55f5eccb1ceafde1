// What can be tried on the planning pages, where it is kept, and under which version.
import { edit, read } from "../client";
import { maybe, need } from "../frame";
import { FieldError, type Units } from "../rework/fields";
import { DocForm, type Json, linkRatio } from "./docform";

/** One document that a form on the page shows. */
export interface Part {
  /** Its name in a trial's body, and in words. */
  name: "planning" | "decision" | "limits" | "rules";
  words: string;
  form: DocForm;
  load(): Promise<void>;
  /** Show again what was loaded. */
  reset(): void;
  /** What the form holds, for a trial; a FieldError where it cannot be taken. */
  trial(): unknown;
  keep(): Promise<void>;
  /** Both sides of a conflict, for showing; `take` makes the next keep follow the latest version. */
  compare(): Promise<{ mine: Json; theirs: Json; take: (which: "mine" | "theirs") => void }>;
}

interface Form {
  toForm(body: Json): Json;
  toBody(values: Json, body: Json): Json;
  toTrial(values: Json): unknown;
  toCompare(body: Json): Json;
}

/** A part that has one address, one version and one form. */
export class Kept implements Part {
  private body: Json = {};
  private etag = "";

  constructor(
    readonly name: Part["name"],
    readonly words: string,
    readonly form: DocForm,
    private readonly address: string,
    private readonly shape: Form & { unwrap: (record: Json) => Json },
    private readonly filled: () => void = () => undefined,
  ) {}

  async load(): Promise<void> {
    const { body, etag } = await read<Json>(this.address);
    this.take(this.shape.unwrap(body), etag);
    this.reset();
  }

  reset(): void {
    this.form.fill(this.shape.toForm(this.body));
    this.filled();
  }

  trial(): unknown {
    return this.shape.toTrial(this.form.read());
  }

  async keep(): Promise<void> {
    const { body, etag } = await edit<Json>("PUT", this.address, this.etag, this.mine());
    this.take(this.shape.unwrap(body), etag);
  }

  async compare(): ReturnType<Part["compare"]> {
    const { body, etag } = await read<Json>(this.address);
    const theirs = this.shape.unwrap(body);
    const mine = this.mine();
    return {
      mine: this.shape.toCompare(mine),
      theirs: this.shape.toCompare(theirs),
      take: (which) => {
        this.take(theirs, etag);
        if (which === "theirs") this.reset();
      },
    };
  }

  private mine(): Json {
    return this.shape.toBody(this.form.read(), this.body);
  }

  private take(body: Json, etag: string): void {
    this.body = body;
    this.etag = etag;
  }
}

function formOf(id: string, units: Units): DocForm | null {
  const form = maybe<HTMLFormElement>(id);
  return form && new DocForm(form, units);
}

/** The survey's planning; fields that the page does not show are carried along. */
export function planningPart(survey: string, units: Units): Part | null {
  const form = formOf("#planning-form", units);
  if (!form) return null;
  const linked = linkRatio(form.form);
  return new Kept("planning", "what the plan rests on", form, `/api/surveys/${survey}/planning`, {
    unwrap: (record) => record["planning"] as Json,
    toForm: (body) => body,
    toBody: (values) => values,
    toTrial: (values) => values,
    toCompare: (body) => body,
  }, linked);
}

/** The survey's decision. Blank rates mean that nothing is decided yet. */
export function decisionPart(survey: string, units: Units): Part | null {
  const form = formOf("#decision-form", units);
  if (!form) return null;
  return new Kept("decision", "hours and prices", form, `/api/surveys/${survey}/decision`, {
    unwrap: (record) => (record["decision"] ?? {}) as Json,
    toForm: (body) => body,
    toBody: (values) => decided(form, values) as Json,
    toTrial: (values) => decided(form, values),
    toCompare: (body) => body ?? {},
  });
}

// A form in which nothing is stated is no decision; rates without anything else are one.
function decided(form: DocForm, values: Json): Json | null {
  if (values["rates"]) return values;
  const stated = [values["hidden"], ...(values["actions"] as Json[]), ...(values["candidates"] as Json[])].some(Boolean);
  if (!stated) return null;
  const field = need<HTMLElement>('[data-name="rates.currency"]', form.form);
  throw new FieldError(field, "Rates: Currency is missing.", true);
}

interface Limited {
  member: string;
  fraction?: number | null;
  depth?: number | null;
  source?: string;
  limit_zones?: Zone[];
}

interface Zone {
  id: string;
  outline: [number, number][];
  fraction?: number | null;
  depth?: number | null;
  source?: string;
}

type Member = Json & { id: string; limit?: Json | null; limit_zones?: (Json & { id: string; limit: Json })[] };
type Limits = { limit: Json | null; limit_zones: Json[] };

/** The members' limits, which are part of the structure. */
export function limitsPart(structure: string, units: Units): Part | null {
  const form = formOf("#limits-form", units);
  if (!form) return null;
  const members = (body: Json): Member[] => (body["structure"] as { members: Member[] }).members;
  const rows = (): NodeListOf<Element> => form.form.querySelectorAll('[data-rows="limits"] > [data-row]');
  const limits = (values: Json): [string, Limits][] =>
    (values["limits"] as Limited[]).map((one, index) => [one.member, limitsOf(one, rows()[index])]);
  return new Kept("limits", "the blend limits", form, `/api/structures/${structure}`, {
    unwrap: (record) => ({ units: record["units"], structure: record["structure"] }),
    toForm: (body) => ({
      limits: members(body).map((one) => ({
        member: one.id,
        ...one.limit,
        limit_zones: (one.limit_zones ?? []).map(({ limit, ...zone }) => ({ ...zone, ...limit })),
      })),
    }),
    toBody: (values, body) => {
      const mine = new Map(limits(values));
      const limited = members(body).map((one) => ({ ...one, ...mine.get(one.id) }));
      return { ...body, structure: { ...(body["structure"] as Json), members: limited } };
    },
    toTrial: (values) => Object.fromEntries(limits(values)),
    toCompare: (body) =>
      Object.fromEntries(members(body).map((one) => [one.id, { limit: one.limit ?? "none", zones: one.limit_zones ?? [] }])),
  });
}

function limitsOf({ limit_zones, ...own }: Limited, row: Element | undefined): Limits {
  const rows = row?.querySelectorAll('[data-rows="limit_zones"] > [data-row]');
  const zones = (limit_zones ?? []).map(({ id, outline, ...limit }, index) => {
    const zone = rows?.[index];
    const stated = limitOf({ member: `zone ${id}`, ...limit }, zone);
    const first = zone?.querySelector<HTMLElement>('[data-name="fraction"]') ?? document.body;
    if (stated === null) throw new FieldError(first, `Limit of zone ${id}: state a share or a depth, and its source.`, true);
    return { id, outline, limit: stated };
  });
  return { limit: limitOf(own, row), limit_zones: zones };
}

function limitOf({ member, ...limit }: Limited, row: Element | undefined): Json | null {
  const stated = Object.entries(limit).filter(([, value]) => value !== undefined && value !== null && value !== "");
  const names = stated.map(([name]) => name);
  const fault = (name: string, words: string, lacking: boolean): FieldError =>
    new FieldError(row?.querySelector<HTMLElement>(`[data-name="${name}"]`) ?? document.body, `Limit of ${member}: ${words}`, lacking);
  if (names.includes("fraction") && names.includes("depth")) throw fault("depth", "state a share or a depth, not both.", false);
  const figure = names.includes("fraction") || names.includes("depth");
  if (figure && !names.includes("source")) throw fault("source", "Source is missing. A limit needs who says so.", true);
  if (!figure && names.includes("source")) throw fault("fraction", "a source alone is no limit; state a share or a depth.", true);
  return stated.length === 0 ? null : Object.fromEntries(stated);
}
