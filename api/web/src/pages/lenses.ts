// Lens profiles: send pictures of a board, look at how well the lens is known, keep the profile.
import { plainWords, type ProblemBody, wordsOf } from "../client";
import { frame } from "../frame";
import { addLens, readHead } from "../lenses";
import { byId, button, h } from "../photo/dom";
import { fixed } from "../units";

interface Profile {
  id: string;
  [field: string]: unknown;
}

interface Calibration {
  profile: Profile & { model: string; rms_px: number; u_px: number; views: number };
  views: { name: string; corners: number; rms_px: number; worst_px: number; distance: number; tilt_deg: number }[];
  models: { name: string; rms_px: number; aic_behind: number }[];
  cells: number[][];
  covered: number;
  missed: { name: string; why: string }[];
}

frame();
const form = byId<HTMLFormElement>("lens-form");
const units = form.dataset["units"] ?? "mm";
const survey = form.dataset["survey"] ?? "";

form.addEventListener("submit", (event) => {
  event.preventDefault();
  void calibrate();
});

async function calibrate(): Promise<void> {
  const wrong = missing();
  fail(wrong);
  if (wrong) return;
  const body = new FormData();
  const files = form.elements.namedItem("files") as HTMLInputElement;
  for (const [name, value] of new FormData(form)) {
    if (typeof value === "string" && value.trim()) body.append(name, value.trim().replace(",", "."));
  }
  for (const file of files.files ?? []) body.append("files", file);
  const go = byId<HTMLButtonElement>("lens-go");
  go.disabled = true;
  byId("lens-state").textContent = `Looking for the board in ${files.files?.length ?? 0} pictures…`;
  byId("lens-result").replaceChildren();
  try {
    const response = await fetch(`/api/surveys/${survey}/lenses/calibrate`, { method: "POST", body });
    const answer: unknown = await response.json();
    if (!response.ok) fail(plainWords(response.status, answer as ProblemBody));
    else show(answer as Calibration);
  } catch {
    fail("The pictures could not be sent. Check the connection, then press Calibrate again.");
  } finally {
    go.disabled = false;
    byId("lens-state").textContent = "";
  }
}

function missing(): string {
  for (const input of form.querySelectorAll<HTMLInputElement>("input[required]")) {
    if (input.value) continue;
    input.focus();
    return `“${input.closest("label")?.querySelector("span")?.textContent ?? input.name}” is missing.`;
  }
  return "";
}

function fail(words: string): void {
  const error = byId("lens-error");
  error.hidden = !words;
  error.textContent = words;
}

function show(made: Calibration): void {
  const { profile } = made;
  const result = byId("lens-result");
  result.replaceChildren(
    h("h3", { tabindex: -1 }, "What came out"),
    h(
      "p",
      {},
      `${profile.views} pictures, ${profile.model} model, misfit ${fixed(profile.rms_px, 2)} px RMS, model error ${fixed(profile.u_px, 2)} px, ` +
        `${fixed(100 * made.covered, 0)} % of the frame covered. Nothing is kept yet.`,
    ),
    made.missed.length > 0 ? h("p", { class: "notice warn" }, `Not used: ${made.missed.map((one) => `${one.name} (${one.why})`).join("; ")}.`) : "",
    h("h4", {}, "Corners in each part of the picture"),
    cells(made.cells),
    h("h4", {}, "Each picture"),
    table(
      ["Picture", "Corners", "Misfit (px RMS)", "Worst (px)", `Distance (${units})`, "Tilt (°)"],
      made.views.map((one) => [one.name, String(one.corners), fixed(one.rms_px, 2), fixed(one.worst_px, 2), fixed(one.distance, 1), fixed(one.tilt_deg, 0)]),
    ),
    h("h4", {}, "Models tried"),
    table(
      ["Model", "Misfit (px RMS)", "Behind the best by (AIC)"],
      made.models.map((one) => [one.name, fixed(one.rms_px, 3), fixed(one.aic_behind, 1)]),
    ),
    h("div", { class: "actions" }, button("Keep this profile", () => void keep(profile), { class: "main", id: "lens-keep" })),
  );
  result.querySelector<HTMLElement>("h3")?.focus();
}

function cells(rows: readonly number[][]): HTMLElement {
  const body = rows.map((row) => h("tr", {}, ...row.map((n) => h("td", { class: n ? "number" : "number doubt" }, n ? String(n) : "none"))));
  return h("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Corners in each part of the picture" }, h("table", {}, h("tbody", {}, ...body)));
}

function table(heads: readonly string[], rows: readonly string[][]): HTMLElement {
  const head = h("tr", {}, ...heads.map((one, i) => h("th", { scope: "col", class: i ? "number" : null }, one)));
  const body = rows.map((row) => h("tr", {}, ...row.map((one, i) => (i ? h("td", { class: "number" }, one) : h("th", { scope: "row" }, one)))));
  return h("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": heads[0] ?? "" }, h("table", {}, h("thead", {}, head), h("tbody", {}, ...body)));
}

async function keep(profile: Profile): Promise<void> {
  try {
    const head = await readHead(survey);
    if (head.body.lenses.some((one) => one.id === profile.id)) {
      fail(`There is a profile “${profile.id}” already. Choose another name and calibrate again.`);
      return;
    }
    await addLens(survey, head, profile);
    location.reload();
  } catch (error) {
    fail(wordsOf(error));
  }
}
