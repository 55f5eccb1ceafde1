// The state of the page: the work (undoable), what is selected, which tool is in hand.
import { History } from "../history";
import { freeId } from "../merge";
import type { Doc, Mark, MarkKind, Placement, ScaleRef } from "./types";

export type ShapeTool = "polygon" | "ellipse" | "freehand";
export type Panel = "scale" | "marks" | "place";
export type Change = "doc" | "selection" | "tool" | "panel" | "measures" | "sync" | "found";

/** What a click on the picture does. */
export type Tool =
  | { name: "look" }
  | { name: "draw"; kind: MarkKind; shape: ShapeTool }
  | { name: "reference"; kind: string; way: string }
  | { name: "suggest"; what: "pit" | "blend-out" | "region" }
  | { name: "light"; mark: string; what: "shadow" | "post" }
  | { name: "axis" }
  | { name: "edge" }
  | { name: "pair" };

/** Where each tool belongs. */
export const PANEL_OF: Record<Tool["name"], Panel> = {
  look: "marks",
  draw: "marks",
  suggest: "marks",
  light: "marks",
  pair: "place",
  reference: "scale",
  axis: "scale",
  edge: "scale",
};

const LETTERS: Record<MarkKind, string> = { pit: "P", "blend-out": "B", affected: "A", clear: "C" };

export class Store {
  private readonly history: History<Doc>;
  private readonly listeners: ((change: Change) => void)[] = [];
  selected: string | null = null;
  tool: Tool = { name: "look" };
  panel: Panel = "scale";
  shape: ShapeTool = "polygon";
  moving = false;
  /** The survey is sealed, or who is signed in may not change it: its photos are looked at only. */
  readonly sealed = "sealed" in document.body.dataset || "lookOnly" in document.body.dataset;

  constructor(doc: Doc) {
    this.history = new History({ state: doc, label: "open" });
  }

  get doc(): Doc {
    return this.history.state;
  }

  get undoLabel(): string | null {
    return this.history.undoLabel;
  }

  get redoLabel(): string | null {
    return this.history.redoLabel;
  }

  onChange(listener: (change: Change) => void): void {
    this.listeners.push(listener);
  }

  tell(change: Change): void {
    for (const listener of this.listeners) listener(change);
  }

  /** Make one undoable step. */
  commit(changes: Partial<Doc>, label: string): void {
    // What was dragged springs back.
    if (!this.sealed) this.history.push({ ...this.doc, ...changes }, label);
    this.afterDoc();
  }

  /** Take over the service's wording of what was just saved; not a step. */
  adopt(changes: Partial<Doc>): void {
    this.history.replace({ ...this.doc, ...changes });
  }

  undo(): void {
    if (this.history.undo()) this.afterDoc();
  }

  redo(): void {
    if (this.history.redo()) this.afterDoc();
  }

  private afterDoc(): void {
    if (this.selected && !this.mark(this.selected)) {
      this.selected = null;
      this.moving = false;
      this.tell("selection");
    }
    this.tell("doc");
  }

  mark(id: string): Mark | undefined {
    return this.doc.marks.find((mark) => mark.id === id);
  }

  get selectedMark(): Mark | undefined {
    return this.selected ? this.mark(this.selected) : undefined;
  }

  select(id: string | null): void {
    if (id === this.selected) return;
    this.selected = id;
    this.moving = false;
    this.tell("selection");
  }

  setTool(tool: Tool): void {
    if (this.sealed && tool.name !== "look") return;
    this.tool = tool;
    // A shadow belongs to the selected mark.
    if (tool.name !== "look") this.select(tool.name === "light" ? tool.mark : null);
    this.tell("tool");
  }

  setPanel(panel: Panel): void {
    this.panel = panel;
    this.tool = { name: "look" };
    this.tell("panel");
    this.tell("tool");
  }

  setScale(scale: ScaleRef | null, label: string): void {
    this.commit({ scale }, label);
  }

  setPlacement(placement: Placement | null, label: string): void {
    this.commit({ placement }, label);
  }

  addMark(kind: MarkKind, shape: Mark["shape"]): void {
    const id = freeId(LETTERS[kind], this.doc.marks);
    this.commit({ marks: [...this.doc.marks, { id, kind, shape }] }, `draw ${id}`);
    this.select(id);
  }

  /** Take in accepted suggestions as one step; with `edit` the first is selected. Returns the new marks. */
  addSuggested(found: readonly Omit<Mark, "id">[], edit: boolean): Mark[] {
    const marks = [...this.doc.marks];
    const first = marks.length;
    for (const mark of found) marks.push({ ...mark, id: freeId(LETTERS[mark.kind], marks) });
    const made = marks.slice(first);
    const [one] = made;
    if (!one) return made;
    this.commit({ marks }, found.length > 1 ? `accept ${found.length} suggestions` : `accept ${one.id}`);
    if (!edit) return made;
    this.setTool({ name: "look" });
    this.select(one.id);
    return made;
  }

  /** Change a mark; the change is undone as one step. */
  changeMark(id: string, changes: Partial<Mark>, label: string): void {
    const marks = this.doc.marks.map((mark) => (mark.id === id ? { ...mark, ...changes } : mark));
    this.commit({ marks }, label);
  }

  /** Give a mark another name; returns what is wrong with it, or "". */
  renameMark(id: string, wanted: string): string {
    const name = wanted.trim();
    if (name === id) return "";
    if (name === "") return "A mark needs a name.";
    // As the survey file wants its identifiers.
    if (name.length > 80 || /[\u0000-\u001f/\\]/.test(name)) return "Use up to 80 characters, without / and \\.";
    if (this.mark(name)) return `There is a mark ${name} already.`;
    const marks = this.doc.marks.map((mark) => (mark.id === id ? { ...mark, id: name } : mark));
    const selected = this.selected === id;
    // First, so that the step does not deselect a mark that is still there.
    if (selected) this.selected = name;
    this.commit({ marks }, `rename ${id} to ${name}`);
    if (selected) this.tell("selection");
    return "";
  }

  deleteMark(id: string): void {
    this.commit({ marks: this.doc.marks.filter((mark) => mark.id !== id) }, `delete ${id}`);
  }

  /** Copy the outline only: a depth belongs to the place where it was read. */
  duplicateMark(id: string, shift: (shape: Mark["shape"]) => Mark["shape"]): void {
    const mark = this.mark(id);
    if (!mark) return;
    const copy = { id: freeId(LETTERS[mark.kind], this.doc.marks), kind: mark.kind, shape: shift(mark.shape) };
    this.commit({ marks: [...this.doc.marks, copy] }, `duplicate ${id}`);
    this.select(copy.id);
    this.moving = true;
    this.tell("selection");
  }
}
