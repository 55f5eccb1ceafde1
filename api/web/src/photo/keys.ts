// The keyboard on the picture: a crosshair at the middle of the view takes the place of the pointer.
import type { Px } from "../geometry";
import type { Canvas } from "./canvas";
import { showHelp } from "./dialogs";
import type { DrawTool } from "./draw";
import type { Editor } from "./edit";
import { shifted } from "./shapes";
import type { Store } from "./store";
import type { Suggestions } from "./suggestions";

const STEP_PX = 24;
const ARROWS: Record<string, Px> = {
  ArrowLeft: [-1, 0],
  ArrowRight: [1, 0],
  ArrowUp: [0, -1],
  ArrowDown: [0, 1],
};

const DECIDE: Record<string, "accept" | "edit" | "drop"> = { a: "accept", e: "edit", x: "drop" };

export interface KeyActions {
  aim: (on: boolean) => void;
  duplicate: (id: string) => void;
  show: (id: string) => void;
  say: (words: string) => void;
}

export class Keys {
  /** Corner that was picked up, of the selected outline. */
  private held: number | null = null;

  constructor(
    private readonly canvas: Canvas,
    private readonly store: Store,
    private readonly draw: DrawTool,
    private readonly editor: Editor,
    private readonly suggestions: Suggestions,
    private readonly actions: KeyActions,
  ) {
    store.onChange((change) => {
      if (change === "selection" || change === "tool") this.held = null;
    });
  }

  get holding(): boolean {
    return this.held !== null;
  }

  /** Keys that work anywhere on the page outside text fields. */
  onPage(event: KeyboardEvent): boolean {
    const inField = event.target instanceof Element && event.target.closest("input, select, textarea, dialog");
    if ((event.ctrlKey || event.metaKey) && !inField) {
      const key = event.key.toLowerCase();
      if (key === "z" && !event.shiftKey) this.undo();
      else if (key === "y" || key === "z") this.store.redo();
      else return false;
      return true;
    }
    if (event.key === "Escape" && !inField && this.draw.active) return this.escape();
    if (event.key === "?" && !inField) {
      showHelp();
      return true;
    }
    return false;
  }

  /** Take back the last point of what is being drawn, else the last step. */
  undo(): void {
    if (!this.draw.removeLast()) this.store.undo();
  }

  /** Keys while the picture has the focus. */
  onCanvas(event: KeyboardEvent): boolean {
    if (event.ctrlKey || event.metaKey || event.altKey) return false;
    const arrow = ARROWS[event.key];
    if (arrow) return this.arrow(arrow, event.shiftKey ? 1 : STEP_PX);
    switch (event.key) {
      case "+":
      case "=":
        this.canvas.zoom(1.5);
        return true;
      case "-":
        this.canvas.zoom(1 / 1.5);
        return true;
      case "0":
        this.canvas.fit();
        return true;
      case "Enter":
      case " ":
        return this.setPoint();
      case "Backspace":
        return this.back();
      case "Escape":
        return this.escape();
      default:
        return this.letter(event.key);
    }
  }

  private letter(key: string): boolean {
    if (this.decide(key)) return true;
    const id = this.store.selected;
    switch (key) {
      case "f":
      case "F":
        if (this.draw.canFinish) this.draw.finish();
        return true;
      case "n":
        return this.next(1);
      case "N":
        return this.next(-1);
      case "Delete":
        if (id) this.store.deleteMark(id);
        return Boolean(id);
      case "d":
        if (id) this.actions.duplicate(id);
        return Boolean(id);
      case "m":
        if (id) this.store.moving = !this.store.moving;
        this.store.tell("selection");
        return Boolean(id);
      default:
        return false;
    }
  }

  /** With suggestions there: go through them, accept, edit or drop the current one. */
  private decide(key: string): boolean {
    const { suggestions } = this;
    if (suggestions.list.length === 0 || this.store.panel !== "marks") return false;
    if (key === "n" || key === "N") {
      suggestions.step(key === "n" ? 1 : -1);
      return true;
    }
    const what = DECIDE[key];
    const id = suggestions.current;
    if (!what || !id) return false;
    if (what === "drop") suggestions.drop(id);
    else suggestions.accept(id, what === "edit");
    return true;
  }

  private arrow([x, y]: Px, step: number): boolean {
    this.actions.aim(true);
    const mark = this.store.selectedMark;
    if (this.store.moving && mark) {
      const by = step * this.canvas.resolution;
      this.editor.change(mark, shifted(mark.shape, x * by, y * by));
      return true;
    }
    this.canvas.pan(x * step, y * step);
    if (this.draw.active) this.draw.setHover(this.canvas.inside(this.canvas.center));
    return true;
  }

  /** Enter: set a point, or pick a corner up and put it down. */
  setPoint(): boolean {
    this.actions.aim(true);
    const at = this.canvas.inside(this.canvas.center);
    if (this.draw.active) {
      this.draw.add(at);
      return true;
    }
    if (this.held !== null) {
      const corner = this.held;
      this.held = null;
      this.editor.setCorner(corner, at);
      return true;
    }
    this.held = this.store.panel === "marks" ? this.editor.cornerNear(at) : null;
    if (this.held !== null) this.actions.say("Corner picked up. Move the crosshair, then press Enter to put it down.");
    else if (this.store.selected) this.actions.say("No corner is near the crosshair. Move it onto one, then press Enter.");
    return true;
  }

  private back(): boolean {
    if (this.held !== null) {
      const corner = this.held;
      this.held = null;
      this.editor.setCorner(corner, null);
      return true;
    }
    return this.draw.removeLast();
  }

  private escape(): boolean {
    if (this.held !== null) this.held = null;
    else if (this.draw.active) this.draw.cancel();
    else if (this.store.moving) {
      this.store.moving = false;
      this.store.tell("selection");
    } else if (this.store.selected) this.store.select(null);
    else this.actions.aim(false);
    return true;
  }

  private next(step: number): boolean {
    const { marks } = this.store.doc;
    if (marks.length === 0 || this.store.panel !== "marks") return true;
    const at = marks.findIndex((mark) => mark.id === this.store.selected);
    const from = at < 0 && step < 0 ? 0 : at;
    const mark = marks[(from + step + marks.length) % marks.length];
    if (mark) {
      this.store.select(mark.id);
      this.actions.show(mark.id);
    }
    return true;
  }
}
