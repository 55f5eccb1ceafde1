// Two people changed one entry: what differs, theirs and yours side by side, and the choice between them.
import { make } from "../frame";

type Json = Record<string, unknown>;

export interface Choice {
  mine: () => void;
  theirs: () => void;
}

/** Show the differences in `host`; nothing is saved before a button is pressed. */
export function showConflict(host: HTMLElement, name: string, mine: Json, theirs: Json, choice: Choice): void {
  const rows = differences(mine, theirs).map(([what, my, their]) =>
    make("tr", {}, make("th", { scope: "row" }, what), make("td", {}, their), make("td", {}, my)));
  const head = make("tr", {}, ...["", "Theirs, saved", "Yours, not saved"].map((words) => make("th", { scope: "col" }, words)));
  const take = button("Save mine over it", choice.mine);
  const leave = button("Take theirs", choice.theirs);
  const table = make("div", { class: "scroll" }, make("table", {}, make("thead", {}, head), make("tbody", {}, ...rows)));
  const same = make("p", {}, "They saved the same values.");
  host.replaceChildren(
    make("div", { class: "notice warn", role: "alert" },
      make("p", {}, make("strong", {}, `Someone else changed ${name} while you had it open.`), " Yours is still here; nothing of it is saved yet."),
      rows.length > 0 ? table : same,
      make("div", { class: "actions" }, take, leave)),
  );
  take.focus();
}

function button(words: string, act: () => void): HTMLButtonElement {
  const made = make("button", { type: "button" }, words);
  made.addEventListener("click", act);
  return made;
}

function differences(mine: Json, theirs: Json): [string, string, string][] {
  const [my, their] = [flat(mine), flat(theirs)];
  const names = [...new Set([...my.keys(), ...their.keys()])];
  return names
    .map((name) => [name, my.get(name) ?? "-", their.get(name) ?? "-"] as [string, string, string])
    .filter(([, a, b]) => a !== b);
}

function flat(value: Json, before = ""): Map<string, string> {
  const found = new Map<string, string>();
  for (const [key, one] of Object.entries(value)) {
    const name = `${before}${key.replaceAll("_", " ")}`;
    if (one === null || one === undefined || one === "") continue;
    if (typeof one === "object" && !Array.isArray(one)) {
      for (const [inner, text] of flat(one as Json, `${name}, `)) found.set(inner, text);
    } else found.set(name, typeof one === "object" ? JSON.stringify(one) : String(one));
  }
  return found;
}
