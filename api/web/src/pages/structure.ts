// A new structure, from a file or by hand, and the start of a survey on one.
import { edit, pageData, post, ProblemError, wordsOf } from "../client";
import { type OutlinePad, padFor } from "../outline_pad";
import { frame, make, maybe, need, say } from "../frame";
import { fieldText, parseNumber } from "../units";

type Corner = [number, number];

interface Member {
  id: string;
  outline: Corner[];
  limit?: { fraction?: number | null; depth?: number | null; source?: string } | null;
  [field: string]: unknown;
}

interface Structure {
  name: string;
  zone?: string | null;
  members: Member[];
  [field: string]: unknown;
}

// What a file brought and no field shows (zones, fasteners, stations) travels with its member.
const carried = new WeakMap<Element, Member>();
const pads = new WeakMap<Element, OutlinePad>();
let carriedStructure: Partial<Structure> = {};

/** A structure that is stored already and is being corrected. */
interface Stored {
  id: string;
  version: number;
  units: string;
  structure: Structure;
}

const stored = pageData<Stored>("stored");

frame();
const surveyForm = maybe<HTMLFormElement>("#new-survey");
if (surveyForm) setUpSurveyForm(surveyForm);
const structureForm = maybe<HTMLFormElement>("#structure-form");
if (structureForm) setUpStructureForm(structureForm);

function setUpSurveyForm(form: HTMLFormElement): void {
  const date = need<HTMLInputElement>("#survey-date");
  date.value ||= new Date().toLocaleDateString("sv-SE");
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const error = need<HTMLElement>(".error", form);
    const data = new FormData(form);
    const name = String(data.get("survey.name")).trim();
    if (!name) {
      say(error, "Give the survey a name, so that it can be told from the next one.");
      need<HTMLInputElement>("#survey-name").focus();
      return;
    }
    const body = {
      structure_id: form.dataset.structure,
      display_units: data.get("display_units"),
      survey: { name, date: data.get("survey.date") || null, inspector: String(data.get("survey.inspector")).trim() },
    };
    post<{ id: string }>("/api/surveys", body).then(
      ({ body: made }) => location.assign(`/surveys/${made.id}`),
      (problem: unknown) => say(error, wordsOf(problem)),
    );
  });
}

function setUpStructureForm(form: HTMLFormElement): void {
  const units = need<HTMLSelectElement>("#structure-units");
  units.addEventListener("change", showUnits);
  need<HTMLButtonElement>("#add-member").addEventListener("click", () => addMember().querySelector("input")?.focus());
  const file = need<HTMLInputElement>("#layout-file");
  file.addEventListener("change", () => {
    const chosen = file.files?.[0];
    file.value = "";
    if (chosen) void readFile(chosen);
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    void keep(form);
  });
  if (stored) take(stored.structure, stored.units);
  else addMember();
}

function showUnits(): void {
  const unit = need<HTMLSelectElement>("#structure-units").value;
  for (const place of document.querySelectorAll(".unit")) place.textContent = unit;
}

function addMember(member?: Member): HTMLElement {
  const fragment = need<HTMLTemplateElement>("#member-template").content.cloneNode(true) as DocumentFragment;
  const section = need<HTMLElement>(".member", fragment);
  need<HTMLElement>("#members").append(section);
  if (member) {
    carried.set(section, member);
    fill(section, member);
  }
  const outline = need<HTMLTextAreaElement>('[data-name="outline"]', section);
  pads.set(section, padFor(need<SVGSVGElement>("svg.draw", section), outline));
  need<HTMLButtonElement>('[data-do="undo"]', section).addEventListener("click", () => pads.get(section)?.undo());
  need<HTMLButtonElement>('[data-do="remove"]', section).addEventListener("click", () => {
    section.remove();
    need<HTMLButtonElement>("#add-member").focus();
  });
  showUnits();
  return section;
}

function fill(section: HTMLElement, member: Member): void {
  for (const input of fieldsOf(section)) {
    const path = input.dataset.name ?? "";
    if (path === "outline") {
      input.value = member.outline.map(([s, o]) => `${fieldText(s)} ${fieldText(o)}`).join("\n");
      continue;
    }
    const value = path.split(".").reduce<unknown>((at, step) => (at as Member | undefined)?.[step], member);
    if (value === null || value === undefined) continue;
    const scaled = input.hasAttribute("data-percent") ? Number(value) * 100 : value;
    input.value = typeof scaled === "number" ? fieldText(scaled) : String(scaled);
  }
}

function fieldsOf(section: ParentNode): NodeListOf<HTMLInputElement | HTMLTextAreaElement> {
  return section.querySelectorAll<HTMLInputElement | HTMLTextAreaElement>("[data-name]");
}

async function readFile(file: File): Promise<void> {
  const said = need<HTMLElement>("#layout-said");
  const query = new URLSearchParams({ name: file.name, units: need<HTMLSelectElement>("#layout-units").value });
  try {
    const answer = await fetch(`/structures/layout?${query}`, { method: "POST", body: file });
    if (!answer.ok) throw new ProblemError(answer.status, await answer.json());
    const read = (await answer.json()) as { units: string; structure: Structure };
    take(read.structure, read.units);
    said.replaceChildren(make("div", { class: "notice" }, make("p", {},
      `Read ${read.structure.members.length} member(s) from ${file.name}. Check them below, then keep the structure.`)));
  } catch (error) {
    said.replaceChildren(make("div", { class: "notice problem" }, make("p", {}, wordsOf(error))));
  }
}

function take(structure: Structure, units: string): void {
  carriedStructure = structure;
  need<HTMLInputElement>("#structure-name").value = structure.name;
  need<HTMLInputElement>("#structure-zone").value = structure.zone ?? "";
  need<HTMLSelectElement>("#structure-units").value = units;
  need<HTMLElement>("#members").replaceChildren();
  for (const member of structure.members) addMember(member);
}

class FieldError extends Error {
  constructor(readonly field: HTMLElement, message: string) {
    super(message);
  }
}

async function keep(form: HTMLFormElement): Promise<void> {
  const error = need<HTMLElement>("#structure-form > .error");
  for (const field of form.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
  try {
    const body = { units: need<HTMLSelectElement>("#structure-units").value, structure: collect() };
    const id = stored?.id ?? (await post<{ id: string }>("/api/structures", body)).body.id;
    if (stored) await edit("PUT", `/api/structures/${id}`, `"${stored.version}"`, body);
    location.assign(`/structures/${id}`);
  } catch (problem) {
    if (problem instanceof FieldError) point(problem.field);
    if (problem instanceof ProblemError) pointAt(problem.problem.errors?.[0]?.path ?? "");
    const stale = problem instanceof ProblemError && problem.isStale;
    say(error, stale ? "Somebody else has changed this structure since the page was loaded; nothing was kept. Load the page again and repeat your change."
      : problem instanceof FieldError ? problem.message : wordsOf(problem));
    error.scrollIntoView({ block: "nearest" });
  }
}

function point(field: HTMLElement): void {
  field.setAttribute("aria-invalid", "true");
  field.focus();
}

// The service names a fault as body.structure.members.0.thickness.
function pointAt(path: string): void {
  const [, number, field] = /members\.(\d+)\.(.+)$/.exec(path) ?? [];
  const section = document.querySelectorAll<HTMLElement>("#members .member")[Number(number)];
  const found = [...(section ? fieldsOf(section) : [])].find((one) => one.dataset.name && field?.startsWith(one.dataset.name));
  const named = path.endsWith("structure.zone") ? maybe<HTMLElement>("#structure-zone") : null;
  if (found ?? named) point((found ?? named) as HTMLElement);
}

function collect(): Structure {
  const name = need<HTMLInputElement>("#structure-name");
  if (!name.value.trim()) throw new FieldError(name, "Give the structure a name.");
  const zone = need<HTMLInputElement>("#structure-zone").value.trim();
  const members = [...document.querySelectorAll<HTMLElement>("#members .member")].map(memberOf);
  return { ...carriedStructure, name: name.value.trim(), zone: zone || null, members };
}

function memberOf(section: HTMLElement): Member {
  const member: Member = { ...carried.get(section), id: "", outline: [] };
  const limit: Record<string, unknown> = {};
  for (const input of fieldsOf(section)) {
    const path = input.dataset.name ?? "";
    const value = path === "outline" ? corners(input) : valueOf(input);
    if (path.startsWith("limit.")) {
      if (value !== null) limit[path.slice(6)] = value;
    } else if (value !== null) member[path] = value;
    else delete member[path];
  }
  const bounded = limit.fraction !== undefined || limit.depth !== undefined;
  if (bounded && limit.source === undefined) {
    throw new FieldError(need('[data-name="limit.source"]', section),
      "A limit needs its source: document, paragraph, revision.");
  }
  member.limit = bounded ? limit : null;
  return member;
}

function valueOf(input: HTMLInputElement | HTMLTextAreaElement): string | number | null {
  const text = input.value.trim();
  if (text === "") {
    if (input.required) throw new FieldError(input, `${labelOf(input)} is missing.`);
    return null;
  }
  if (!input.hasAttribute("data-number")) return text;
  const number = parseNumber(text);
  if (number === null) throw new FieldError(input, `${labelOf(input)}: "${text}" is not a number.`);
  return input.hasAttribute("data-percent") ? number / 100 : number;
}

function labelOf(input: HTMLElement): string {
  return input.closest("label")?.firstChild?.textContent?.trim().replace(/[,:].*$/, "") ?? "A field";
}

function corners(input: HTMLInputElement | HTMLTextAreaElement): Corner[] {
  const lines = input.value.split("\n").map((line) => line.trim()).filter(Boolean);
  const found = lines.map((line) => {
    const [s, o, rest] = line.split(/[\s;]+/);
    const station = parseNumber(s ?? "");
    const offset = parseNumber(o ?? "");
    if (station === null || offset === null || rest !== undefined) {
      throw new FieldError(input, `Outline: "${line}" is not a station and an offset.`);
    }
    return [station, offset] as Corner;
  });
  if (found.length < 3) throw new FieldError(input, "An outline needs at least three corners.");
  return found;
}
