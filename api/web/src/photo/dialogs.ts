// The help and the decision between two people's work.
import { showLength, convert } from "../units";
import type { Choice, Conflict } from "../merge";
import { button, h } from "./dom";
import type { Units } from "./fields";
import { LOOKS } from "./styles";
import type { Mark } from "./types";

const KEYS: readonly [string, string][] = [
  ["Arrow keys", "move the picture under the crosshair (Shift: one screen pixel at a time)"],
  ["+ and −", "zoom in and out"],
  ["0", "show the whole picture"],
  ["Enter or Space", "set a point at the crosshair; on a selected outline: pick up the nearest corner, and put it down again"],
  ["F", "finish the outline"],
  ["Backspace", "take the last point back; with a corner picked up: take it out of the outline"],
  ["Escape", "drop what is being drawn, then put the tool down, then deselect"],
  ["N and Shift+N", "select the next or previous mark"],
  ["Delete", "delete the selected mark"],
  ["D", "duplicate the selected mark"],
  ["M", "move the selected mark with the arrow keys; M again when done"],
  ["Ctrl+Z, Ctrl+Y", "undo and redo"],
  ["A, E, X", "accept, edit or drop the current suggestion; N and Shift+N go through them"],
  ["?", "this help"],
];
const POINTER: readonly [string, string][] = [
  ["Drag, wheel, pinch", "move and zoom the picture, also while drawing"],
  ["Click or tap", "set a point; on a mark: select it"],
  ["Click the first corner", "close the outline (or press Finish, or click twice)"],
  ["Drag a corner", "move it; drag an edge to put a new corner there"],
  ["Alt+click a corner", "take it out"],
  ["Aim", "with gloves or a shaking hand: move the picture under the crosshair, then press Set point"],
];

function rows(list: readonly [string, string][]): HTMLElement {
  return h("dl", { class: "keys" }, ...list.map(([what, does]) => h("div", {}, h("dt", {}, what), h("dd", {}, does))));
}

function open(title: string, ...content: (HTMLElement | null)[]): HTMLDialogElement {
  const dialog = h("dialog", { "aria-labelledby": "dialog-title" }, h("h2", { id: "dialog-title" }, title), ...content);
  document.body.append(dialog);
  dialog.addEventListener("close", () => dialog.remove());
  dialog.showModal();
  return dialog;
}

export function showHelp(): void {
  if (document.querySelector("dialog[open]")) return;
  const dialog = open(
    "How to work on a photo",
    h("ol", {},
      h("li", {}, h("strong", {}, "Scale. "), "Say what in the picture has a known size."),
      h("li", {}, h("strong", {}, "Marks. "), "Draw along the edge of each pit, blend-out or area; enter depths that were read with an instrument."),
      h("li", {}, h("strong", {}, "Place. "), "Pair points of the photo with the layout, so that it counts on the map."),
    ),
    h("p", {}, "Work is saved by itself. Until it is, it is kept on this device, also over a reload."),
    h("h3", {}, "Pointer and touch"),
    rows(POINTER),
    h("h3", {}, "Keyboard, with the picture in focus"),
    rows(KEYS),
    h("p", {}, "On the layout beside the photo arrows, + and −, 0 and Enter do the same."),
    h("div", { class: "actions" }, button("Close", () => dialog.close(), { class: "main", autofocus: true })),
  );
}

/** Let a person decide what both changed; nothing is saved before. */
export function askConflicts(conflicts: Conflict[], units: Units): Promise<Map<string, Choice>> {
  const choices = new Map<string, Choice>();
  return new Promise((resolve) => {
    const use = button("Use these", () => finish(), { class: "main", "data-key": "conflict-use" });
    use.disabled = true;
    const groups = conflicts.map((conflict, index) => {
      const pick = (choice: Choice): HTMLElement => {
        const words = [h("strong", {}, choice === "mine" ? "Mine" : "Theirs"), `: ${describe(conflict, choice, units)}`];
        if (conflicts.length === 1) return h("p", {}, ...words);
        const input = h("input", {
          type: "radio",
          name: `conflict-${index}`,
          value: choice,
          onchange: () => {
            choices.set(conflict.id, choice);
            use.disabled = choices.size < conflicts.length;
          },
        });
        return h("label", { class: "check" }, input, h("span", {}, ...words));
      };
      return h("fieldset", { class: "group" }, h("legend", {}, titleOf(conflict)), pick("mine"), pick("theirs"));
    });
    const whole = conflicts.length > 1 ? " for all" : "";
    const all = (choice: Choice): void => {
      for (const conflict of conflicts) choices.set(conflict.id, choice);
      finish();
    };
    const dialog = open(
      "Someone else changed this too",
      h("p", {}, "While you worked, another person saved a different version of the following. Choose which one stands. The other one can be brought back with Undo."),
      ...groups,
      h("div", { class: "actions" },
        button(`Keep mine${whole}`, () => all("mine"), { "data-key": "conflict-mine" }),
        button(`Take theirs${whole}`, () => all("theirs"), { "data-key": "conflict-theirs" }),
        conflicts.length > 1 ? use : null,
      ),
    );
    // Closing the question would leave it open which version stands.
    dialog.addEventListener("cancel", (event) => event.preventDefault());
    const finish = (): void => {
      dialog.close();
      resolve(choices);
    };
  });
}

function titleOf(conflict: Conflict): string {
  if (conflict.part === "scale") return "Scale reference";
  return conflict.part === "placement" ? "Place on the layout" : `Mark ${conflict.id}`;
}

function describe(conflict: Conflict, choice: Choice, units: Units): string {
  const value = conflict[choice];
  if (value === null) return "deleted";
  if (conflict.part === "scale") {
    const length = (value as { length?: number }).length;
    const kind = (value as { kind: string }).kind;
    return length ? `${kind}, ${showLength(convert(length, units.doc, "mm"), units.shown)}` : kind;
  }
  if (conflict.part === "placement") return `${(value as { image: unknown[] }).image.length} point pairs`;
  return markWords(value as Mark, units);
}

function markWords(mark: Mark, units: Units): string {
  const depths = (mark.depths ?? []).map((d) => showLength(convert(d.value, units.doc, "mm"), units.shown));
  const corners = mark.shape.type === "Polygon" ? `${mark.shape.coordinates[0]?.length ?? 0} corners` : mark.shape.type.toLowerCase();
  const parts = [LOOKS[mark.kind].words, corners, depths.length > 0 ? `depth ${depths.join(", ")}` : "no depth"];
  if (mark.note) parts.push(`note "${mark.note.slice(0, 60)}"`);
  return parts.join(", ");
}
