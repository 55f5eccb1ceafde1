// The comparison: rows shown by what became of them, and two photos of one place laid over each other.
import "../compare/compare.css";
import { count, frame, loadLater, maybe, need, say } from "../frame";

type Mode = "side" | "swipe" | "fade";

frame();
start();
void loadLater(start);

function start(): void {
  const kinds = maybe<HTMLFormElement>("#kinds");
  const table = maybe<HTMLTableElement>("#compare");
  if (kinds && table) choose(kinds, table);
  const comparer = maybe<HTMLElement>("#comparer");
  if (comparer) overlay(comparer);
}

/** Hides the rows whose kind is not ticked, and says how many are left. */
function choose(form: HTMLFormElement, table: HTMLTableElement): void {
  const rows = [...table.querySelectorAll<HTMLTableRowElement>("tbody tr")];
  const line = need<HTMLElement>("#shown");
  form.addEventListener("change", () => {
    const wanted = new Set(new FormData(form).getAll("kind"));
    for (const row of rows) row.hidden = !wanted.has(row.dataset.kind ?? "");
    const left = rows.filter((row) => !row.hidden).length;
    say(line, left === rows.length ? "" : `${left} of ${count(rows.length, "finding")} shown`);
  });
}

/** Lets one photo be drawn over the other: by the slider, by arrow keys on it, by a finger on the picture. */
function overlay(box: HTMLElement): void {
  const frames = [...box.querySelectorAll<HTMLElement>(".frame")];
  // With one picture there is nothing to lay over it.
  if (frames.length < 2) return;
  const modes = need<HTMLFieldSetElement>(".modes", box);
  const slider = need<HTMLLabelElement>(".slider", box);
  const range = need<HTMLInputElement>("input", slider);
  const show = (value: number): void => {
    range.value = String(Math.round(Math.min(100, Math.max(0, value))));
    box.style.setProperty("--shown", range.value);
    range.setAttribute("aria-valuetext", `${range.value} % of the later photo`);
  };
  const change = (mode: Mode): void => {
    box.dataset.mode = mode;
    slider.hidden = mode === "side";
  };
  modes.hidden = false;
  modes.addEventListener("change", (event) => change((event.target as HTMLInputElement).value as Mode));
  range.addEventListener("input", () => show(range.valueAsNumber));
  for (const one of frames) follow(one, box, show);
  show(50);
}

/** A finger or the mouse held on the picture draws the edge along with it. */
function follow(picture: HTMLElement, box: HTMLElement, show: (value: number) => void): void {
  const at = (event: PointerEvent): void => {
    if (box.dataset.mode !== "swipe" || event.buttons === 0) return;
    const place = picture.getBoundingClientRect();
    show((100 * (event.clientX - place.left)) / place.width);
  };
  picture.addEventListener("pointerdown", at);
  picture.addEventListener("pointermove", at);
  picture.addEventListener("dragstart", (event) => event.preventDefault());
}
